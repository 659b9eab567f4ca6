//! Results as bytes: table, report, pictures. The caller chooses file or stdout.
