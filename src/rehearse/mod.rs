//! Synthetic rides with known faults, written as real files, with the truth beside them.
