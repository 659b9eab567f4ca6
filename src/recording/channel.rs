//! The channels a stream can carry.

use serde::{Deserialize, Serialize};

/// A measured quantity. The unit of a channel is fixed: readers convert on the way in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Channel {
    /// Power, W.
    Power,
    /// Cadence, revolutions a minute.
    Cadence,
    /// Wheel or ground speed, m/s.
    Speed,
    /// Heart rate, beats a minute.
    HeartRate,
    /// Temperature, °C.
    Temperature,
    /// Left/right balance: the left leg's share, %.
    Balance,
    /// Gradient that the rider is shown or the trainer is asked for: rise over distance, %.
    Grade,
    /// Torque at the place where the device measures, N·m.
    Torque,
    /// Resistance that the trainer is asked for or sets, % of what it can.
    Resistance,
    /// Height above sea level, m.
    Altitude,
}

impl Channel {
    /// All channels, in the order in which lanes are drawn.
    pub const ALL: [Channel; 10] = [
        Channel::Power,
        Channel::Cadence,
        Channel::Speed,
        Channel::HeartRate,
        Channel::Temperature,
        Channel::Balance,
        Channel::Grade,
        Channel::Torque,
        Channel::Resistance,
        Channel::Altitude,
    ];

    /// Position in [`Channel::ALL`].
    pub const fn index(self) -> usize {
        self as usize
    }

    /// Lower-case name for people, as in "heart rate".
    pub const fn name(self) -> &'static str {
        match self {
            Channel::Power => "power",
            Channel::Cadence => "cadence",
            Channel::Speed => "speed",
            Channel::HeartRate => "heart rate",
            Channel::Temperature => "temperature",
            Channel::Balance => "balance",
            Channel::Grade => "grade",
            Channel::Torque => "torque",
            Channel::Resistance => "resistance",
            Channel::Altitude => "altitude",
        }
    }

    /// The unit, as printed after a value.
    pub const fn unit(self) -> &'static str {
        match self {
            Channel::Power => "W",
            Channel::Cadence => "rpm",
            Channel::Speed => "m/s",
            Channel::HeartRate => "bpm",
            Channel::Temperature => "°C",
            Channel::Balance | Channel::Grade | Channel::Resistance => "%",
            Channel::Torque => "N·m",
            Channel::Altitude => "m",
        }
    }
}

/// One optional value a channel: absent where the stream never carried the channel.
#[derive(Clone, Debug, PartialEq)]
pub struct PerChannel<T>([Option<T>; Channel::ALL.len()]);

impl<T> Default for PerChannel<T> {
    fn default() -> Self {
        Self(std::array::from_fn(|_| None))
    }
}

impl<T> PerChannel<T> {
    /// The value for `channel`, if the stream carries it.
    pub fn get(&self, channel: Channel) -> Option<&T> {
        self.0[channel.index()].as_ref()
    }

    /// Mutable access to the value for `channel`.
    pub fn get_mut(&mut self, channel: Channel) -> Option<&mut T> {
        self.0[channel.index()].as_mut()
    }

    /// Sets the value for `channel`.
    pub fn set(&mut self, channel: Channel, value: T) {
        self.0[channel.index()] = Some(value);
    }

    /// Removes and returns the value for `channel`.
    pub fn take(&mut self, channel: Channel) -> Option<T> {
        self.0[channel.index()].take()
    }

    /// The channels present, with their values, in [`Channel::ALL`] order.
    pub fn iter(&self) -> impl Iterator<Item = (Channel, &T)> {
        Channel::ALL
            .into_iter()
            .filter_map(|channel| Some((channel, self.get(channel)?)))
    }

    /// The same channels with each value replaced by `f(channel, value)`.
    pub fn map<U>(&self, mut f: impl FnMut(Channel, &T) -> U) -> PerChannel<U> {
        let mut out = PerChannel::default();
        for (channel, value) in self.iter() {
            out.set(channel, f(channel, value));
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn index_is_the_position_in_all() {
        for (position, channel) in Channel::ALL.into_iter().enumerate() {
            assert_eq!(channel.index(), position);
        }
    }
}
