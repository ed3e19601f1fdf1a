//! Physical quantities as types, so that an ampere cannot stand where an ohm belongs.
//!
//! Each holds a number of its SI unit and may be negative, infinite or no number: a reading can be. Only the arithmetic
//! that is true of the dimensions exists.

use std::cmp::Ordering;
use std::iter::Sum;
use std::ops::{Add, Div, Mul, Neg, Sub};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A number of one unit. It is stored, sent and printed as the bare number.
macro_rules! unit {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, PartialOrd, Debug, Default, Serialize, Deserialize, ToSchema)]
        #[serde(transparent)]
        pub struct $name(pub f64);
    };
}

/// A unit with a true zero: sums, multiples and ratios mean something.
macro_rules! ratio_scale {
    ($(#[$doc:meta])* $name:ident) => {
        unit!($(#[$doc])* $name);

        impl $name {
            /// None of it.
            pub const ZERO: Self = Self(0.0);

            /// Its size without its sign.
            pub const fn abs(self) -> Self {
                Self(self.0.abs())
            }

            /// The smaller of two; what is no number is left aside.
            pub const fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }

            /// The larger of two; what is no number is left aside.
            pub const fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }

            /// Root of the sum of both squares.
            pub fn hypot(self, other: Self) -> Self {
                Self(self.0.hypot(other.0))
            }

            /// Neither infinite nor no number.
            pub const fn is_finite(self) -> bool {
                self.0.is_finite()
            }

            /// The order of [`f64::total_cmp`].
            pub fn total_cmp(&self, other: &Self) -> Ordering {
                self.0.total_cmp(&other.0)
            }
        }

        impl Add for $name {
            type Output = Self;

            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl Sub for $name {
            type Output = Self;

            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl Neg for $name {
            type Output = Self;

            fn neg(self) -> Self {
                Self(-self.0)
            }
        }

        impl Mul<f64> for $name {
            type Output = Self;

            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }

        impl Mul<$name> for f64 {
            type Output = $name;

            fn mul(self, of: $name) -> $name {
                $name(self * of.0)
            }
        }

        impl Div<f64> for $name {
            type Output = Self;

            fn div(self, divisor: f64) -> Self {
                Self(self.0 / divisor)
            }
        }

        impl Div for $name {
            type Output = f64;

            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }

        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(values: I) -> Self {
                Self(values.map(|value| value.0).sum())
            }
        }
    };
}

/// `a * b = c`, and what follows from it.
macro_rules! product {
    ($a:ident * $b:ident = $c:ident) => {
        impl Mul<$b> for $a {
            type Output = $c;

            fn mul(self, other: $b) -> $c {
                $c(self.0 * other.0)
            }
        }

        impl Mul<$a> for $b {
            type Output = $c;

            fn mul(self, other: $a) -> $c {
                $c(self.0 * other.0)
            }
        }

        impl Div<$a> for $c {
            type Output = $b;

            fn div(self, other: $a) -> $b {
                $b(self.0 / other.0)
            }
        }

        impl Div<$b> for $c {
            type Output = $a;

            fn div(self, other: $b) -> $a {
                $a(self.0 / other.0)
            }
        }
    };
}

ratio_scale! {
    /// Resistance, ohm.
    Ohms
}

ratio_scale! {
    /// Voltage, volt.
    Volts
}

ratio_scale! {
    /// Current, ampere.
    Amps
}

ratio_scale! {
    /// Capacitance, farad.
    Farads
}

ratio_scale! {
    /// Inductance, henry.
    Henries
}

ratio_scale! {
    /// Time, second.
    Seconds
}

unit! {
    /// Temperature, degrees Celsius. The zero of this scale is a convention, so two of them have no sum and no ratio.
    Celsius
}

product!(Amps * Ohms = Volts);
product!(Ohms * Farads = Seconds);
product!(Ohms * Seconds = Henries);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ohms_law_and_the_time_constant_hold_both_ways() {
        assert_eq!(Amps(0.12) * Ohms(25.0), Volts(3.0));
        assert_eq!(Ohms(25.0) * Amps(0.12), Volts(3.0));
        assert_eq!(Volts(3.0) / Amps(0.12), Ohms(25.0));
        assert_eq!(Volts(3.0) / Ohms(25.0), Amps(0.12));
        assert_eq!(Ohms(1e3) * Farads(1e-3), Seconds(1.0));
        assert_eq!(Seconds(1.0) / Farads(1e-3), Ohms(1e3));
        assert_eq!(Henries(20e-3) / Ohms(10.0), Seconds(2e-3));
    }

    #[test]
    fn a_quantity_is_stored_as_its_bare_number() {
        assert_eq!(
            serde_json::to_string(&[Some(Ohms(0.025)), Some(Ohms(f64::NAN)), None]).unwrap(),
            "[0.025,null,null]"
        );
        assert_eq!(serde_json::from_str::<Celsius>("23.5").unwrap(), Celsius(23.5));
    }

    #[test]
    fn what_is_no_number_loses_every_comparison() {
        let nothing = Ohms(f64::NAN);
        assert_eq!(nothing.partial_cmp(&Ohms(1.0)), None);
        assert_eq!((nothing.min(Ohms(1.0)), Ohms(1.0).max(nothing)), (Ohms(1.0), Ohms(1.0)));
        assert_eq!([Ohms(1.0), Ohms(2.0)].into_iter().sum::<Ohms>(), Ohms(3.0));
    }
}
