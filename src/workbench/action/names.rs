//! Names of the actions that messages and the status line point to. A name alone does nothing: the
//! table gives it its keys and its deed.

macro_rules! names {
    ($($constant:ident = $name:literal;)*) => {
        $(#[doc = concat!("`", $name, "`.")] pub const $constant: &str = $name;)*
        /// All of them, to be held against the table.
        #[cfg(test)]
        pub const ALL: &[&str] = &[$($name),*];
    };
}

names! {
    ALL_FIGURES = "all-figures";
    ANSWER_AFTER = "answer-after";
    ANSWER_BEFORE = "answer-before";
    ANSWER_PLACE = "answer-place";
    ANSWER_PUBLISH = "answer-publish";
    BACK_1S = "back-1s";
    CHANGE_KIND = "change-kind";
    CLEAR_WINDOW = "clear-window";
    DELETE_SEGMENT = "delete-segment";
    EXPORT = "export";
    FIND_ACTION = "find-action";
    FORWARD_10S = "forward-10s";
    FORWARD_1S = "forward-1s";
    GO_TO_TIME = "go-to-time";
    HELP = "help";
    HOLD_EDGE = "hold-edge";
    LANDMARKS = "landmarks";
    LANDMARK_BACK = "landmark-back";
    LANDMARK_FORWARD = "landmark-forward";
    LET_GO = "let-go";
    LIST_NARROW = "list-narrow";
    MARK_OTHER = "mark-other";
    MARK_SELECTED = "mark-selected";
    MATCH_MARKS = "match-marks";
    MESSAGES = "messages";
    MORE_ABOVE = "more-above";
    MORE_BELOW = "more-below";
    MOVE_SEGMENT = "move-segment";
    NOTE = "note";
    OPEN_VIEW = "open-view";
    QUIT = "quit";
    SAVE = "save";
    SCOPE = "scope";
    SEGMENT_AFTER = "segment-after";
    SEGMENT_BEFORE = "segment-before";
    SET_END = "set-end";
    SET_POINT = "set-point";
    SET_START = "set-start";
    SHIFT_CLOCK = "shift-clock";
    STREAM_AFTER = "stream-after";
    STREAMS_HELP = "streams-help";
    SUGGEST = "suggest";
    TAG = "tag";
    UNDO = "undo";
    VIEW_ANSWERS = "view-answers";
    ZOOM_ALL = "zoom-all";
    ZOOM_IN = "zoom-in";
    ZOOM_OUT = "zoom-out";
    ZOOM_WINDOW = "zoom-window";
}
