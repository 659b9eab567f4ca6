//! The aligned ride.
