//! Text for people and machines: cleaned of what steers a terminal, wrapped and cut by columns,
//! numbers with their decimals, tables as text, Markdown and CSV. Knows no ride.

mod clean;
mod grid;
mod number;
mod words;
mod wrap;

pub use clean::{clean_lines, clean_text, inert, is_unseen, one_line};
pub use grid::{Edge, Grid, Head, csv, escaped};
pub use number::{
    NOTHING, interval, machine_number, number, optional, push_machine_number, reads_as_zero,
};
pub use words::{capital, clock_time, grouped, h_mm_ss, hex, listed, plural, span, word_of};
pub use wrap::{both_ends, columns, field, fit, hanging, is_plain, lines_that_fit, wrapped};
