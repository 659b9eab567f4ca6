//! How a recording is read.

/// How to read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadOptions {
    /// Refuse a damaged file instead of recovering what can be read.
    pub strict: bool,
    /// Which column carries what, where the usual names do not tell.
    pub columns: ColumnMap,
}

/// Column names told by the tester, for delimited text (from `session.toml`). Empty by default.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ColumnMap {
    /// Time column.
    pub time: Option<String>,
    /// Column or FIT field that carries power.
    pub power: Option<String>,
    /// Column that names the device, in files with one row a device and moment.
    pub device: Option<String>,
}
