//! What the modelled bench and the unit on it are like: seeds, air, and the faults to put in.
//!
//! A fault is written `NAME=WHAT`, split at the last `=`:
//!
//! ```text
//! SEGMENT=open                  a crack                     POINT~POINT=2 ohm             a short or a leak
//! SEGMENT=330 ohm               this much, at 20 °C         POINT:force=5 kohm            a dirty pin; or `open`
//! SEGMENT=flaky                 good and bad by turns       POINT:sense+=welded           the relay to that rail
//! SEGMENT=drops 2 ms            opens for so long, about once a second
//! SEGMENT=film                  high until 0.25 V broke it  POINT:force-=never closes
//! SEGMENT=one barrel open       of a via group              STANDARD=+0.5 %               its real value is off
//! SEGMENT=rebuilt               wire through each via
//! POINT:sense~POINT:sense=touching                          two pins whose tips touch
//! POINT:sense~POINT:sense=exchanged                         two leads on each other's pins
//! THERMOMETER=open              or `short`, or `+2 K` off
//! POINT~POINT=schottky          a diode, anode first; or silicon, or body diode
//! battery=3.0 V                 fitted all the while        charge=5 V                    the bulk capacitors hold it
//! lid=120 ms                    the lid opens then
//! ```
//!
//! What is no fault but physics is set in the same way:
//!
//! ```text
//! hum=2 uV                      peak, of the fundamental     unit=+5 K                     warmer than the bed
//! noise=1.5                     times that of its table     unit=just soldered            up to 8 K warmer, drawn
//! gain 16=+0.05 %               the ADC's error there       Rm=+0.08 %                    off its nominal value
//! pin via1.b=0.3 mm             sense pin beside its point  CMRR=90 dB                    of the ADC
//! bed=+3 K                      and the unit on it, warmer than the air at the meter
//! USB=4.4 V                     at the bench's port
//! POINT~POINT=wire 30 AWG 24 mm what a repair soldered on, with its joints
//! absorption=4 %                of the bulk capacitance charges slowly
//! ```

use copperwalk_wire::Gain;

use super::{
    figures::{Figures, JUST_SOLDERED_KELVIN, Spread},
    junction::Kind,
    relay::RelayFault,
};
use crate::{
    board::{PointId, SegmentId, SegmentKind},
    document::suggestion,
    fixture::Fixture,
    quantity::{self, Celsius, Farads, Ohms, Seconds, Unit, Volts},
};

/// A unit on a bench, before it is drawn.
#[derive(Clone, PartialEq, Debug)]
pub struct Spec {
    /// Which unit.
    pub unit_seed: u64,
    /// Which bench.
    pub bench_seed: u64,
    /// Temperature of the air.
    pub air: Celsius,
    /// What the bench and the unit are drawn from.
    pub parts: Parts,
    /// Faults and effects, as written.
    pub faults: Vec<String>,
}

/// What a bench is made of.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, clap::ValueEnum)]
pub enum Parts {
    /// Parts as most of them are.
    #[default]
    Usual,
    /// Every part drawn over its published worst case, with hum, thermal voltages, worn pins and units over their whole
    /// healthy band.
    Hostile,
}

impl Parts {
    /// The width of every draw.
    pub fn figures(self) -> Figures {
        match self {
            Self::Usual => Figures::USUAL,
            Self::Hostile => Figures::WORST,
        }
    }
}

impl Spec {
    /// A good unit on a good bench in air of 23 °C.
    pub fn new(seed: u64) -> Self {
        Self {
            unit_seed: seed,
            bench_seed: seed,
            air: Celsius(23.0),
            parts: Parts::Usual,
            faults: Vec::new(),
        }
    }

    /// The same with a fault.
    #[must_use]
    pub fn fault(mut self, text: impl Into<String>) -> Self {
        self.faults.push(text.into());
        self
    }
}

/// A wire that a repair soldered on between two points, as a fault is written.
pub fn wire([from, to]: [&str; 2], awg: u32, length_mm: f64) -> String {
    format!("{from}~{to}=wire {awg} AWG {length_mm} mm")
}

/// A fault, understood.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Injected {
    /// In a segment.
    Segment(SegmentId, SegmentFault),
    /// A resistance between two points.
    Bridge([PointId; 2], Ohms),
    /// A semiconductor between two points, anode first.
    Junction([PointId; 2], Kind),
    /// A wire soldered on between two points: its gauge, AWG, and its length, mm.
    Wire([PointId; 2], u32, f64),
    /// So much of the bulk capacitance, as a fraction, charges slowly.
    Absorption(f64),
    /// A pin with this contact resistance. Pins count force channels first, then sense channels.
    Pin(usize, Ohms),
    /// Two pins whose tips touch each other.
    Touching([usize; 2]),
    /// Two channels whose leads go to each other's pins.
    Exchanged([usize; 2]),
    /// In a relay, by its bit.
    Relay(usize, RelayFault),
    /// A check standard whose value is off by this fraction.
    Standard(usize, f64),
    /// A battery of this voltage across the supply.
    Battery(Volts),
    /// Bulk capacitors charged to this voltage.
    Charge(Volts),
    /// The lid opens at this model time, µs.
    Lid(u64),
    /// Hum of this peak in the sense loop.
    Hum(Volts),
    /// What a thermometer of the bed has.
    Thermometer(usize, ThermometerFault),
    /// The bed and the unit on it against the air at the meter, kelvin.
    Bed(f64),
    /// The unit against the bed, kelvin.
    Warmer(Spread),
    /// The ADC's noise over that of its table.
    Noise(f64),
    /// The ADC's error at one gain, relative.
    GainError(Gain, f64),
    /// Volts at the ADC's input for each volt of common mode.
    CommonMode(f64),
    /// Rm off its nominal value, relative.
    Rm(f64),
    /// Voltage at the USB port.
    Usb(Volts),
    /// A sense pin so far from its point along the path, mm.
    Displaced(PointId, f64),
}

/// A fault in a segment.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum SegmentFault {
    /// Broken.
    Open,
    /// This resistance at 20 °C.
    Resistance(Ohms),
    /// Good and bad by turns, every few milliseconds.
    Flaky,
    /// Opens for this time, about once a second.
    Drops(Seconds),
    /// Under an insulating film until 0.25 V has stood across it.
    Film,
    /// One barrel of a via group is broken.
    OneBarrelOpen,
    /// Every barrel of a via group was broken and has a strand of wire soldered through it.
    Rebuilt,
}

/// A fault of a thermometer.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum ThermometerFault {
    /// A broken wire.
    Open,
    /// Its two leads touch.
    Shorted,
    /// It reads so many kelvin too much.
    Off(f64),
}

/// Why a fault cannot be put in.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("fault `{fault}`: {what}; {help}")]
pub struct SpecError {
    /// The fault as written.
    pub fault: String,
    /// What is wrong.
    pub what: String,
    /// What would be right.
    pub help: String,
}

/// No wire is drawn thinner than this gauge, AWG.
const THINNEST_AWG: u32 = 40;

/// Resistance of a pin that does not touch.
const PIN_OPEN: Ohms = Ohms(1e12);

/// Understands a fault.
///
/// # Errors
/// An unknown name or fault, a quantity that is none, or a fault this board cannot have.
pub fn parse(text: &str, fixture: &Fixture) -> Result<Injected, SpecError> {
    let wrong = |what: String, help: String| SpecError { fault: quantity::clip(text), what, help };
    let Some((name, what)) = text.rsplit_once('=').map(|(name, what)| (name.trim(), what.trim())) else {
        return Err(wrong("there is no `=`".into(), "write NAME=WHAT, such as `main fuse=open`".into()));
    };
    let board = &fixture.board;
    let measure = |unit: Unit| {
        let value = quantity::parse(what, unit).map_err(|e| wrong(e.what, e.help))?;
        match value >= 0.0 || unit == Unit::Fraction {
            true => Ok(value),
            false => Err(wrong(format!("`{what}` is negative"), format!("write {}", unit.example()))),
        }
    };
    let point = |name: &str| {
        board.point_named(name.trim()).ok_or_else(|| {
            let known: Vec<&str> = board.points.iter().map(|p| p.name.as_str()).collect();
            wrong(format!("there is no point `{}`", quantity::clip(name)), suggestion(name, &known))
        })
    };

    if let Some(id) = board.segment_named(name) {
        let fault = match what {
            "open" => SegmentFault::Open,
            "flaky" => SegmentFault::Flaky,
            _ if let Some(time) = what.strip_prefix("drops ") => match micros(time.trim()) {
                Some(micros @ 1..) => SegmentFault::Drops(Seconds(micros as f64 * 1e-6)),
                _ => {
                    let what = format!("`{}` is no time to drop out for", quantity::clip(time));
                    return Err(wrong(what, "write `drops 2 ms` or `drops 0.5 s`".into()));
                }
            },
            "film" => SegmentFault::Film,
            "rebuilt" => match board.segment(id).kind {
                SegmentKind::Via { .. } => SegmentFault::Rebuilt,
                _ => {
                    let what = format!("`{name}` is no via");
                    return Err(wrong(what, "only vias are rebuilt; leave the fault out where a repair worked".into()));
                }
            },
            "one barrel open" => match board.segment(id).kind {
                SegmentKind::Via { count: 2.., .. } => SegmentFault::OneBarrelOpen,
                _ => {
                    let what = format!("`{name}` is not a group of parallel vias");
                    return Err(wrong(what, "use `open` or a resistance".into()));
                }
            },
            _ => SegmentFault::Resistance(
                quantity::parse(what, Unit::Ohm).ok().filter(|ohms| *ohms >= 0.0).map(Ohms).ok_or_else(
                    || {
                        let what = format!("`{}` is no fault of a segment", quantity::clip(what));
                        wrong(
                            what,
                            "use open, flaky, drops 2 ms, film, one barrel open, or a resistance such as 330 ohm".into(),
                        )
                    },
                )?,
            ),
        };
        return Ok(Injected::Segment(id, fault));
    }
    let pin = |place: PointId, word: &str| {
        let pins = fixture.pins(place);
        let pin = match word {
            "force" => pins.force.map(usize::from),
            "sense" => pins.sense.map(|channel| usize::from(fixture.force_channels) + usize::from(channel)),
            _ => {
                let what = format!("`{}` is neither a pin nor a relay", quantity::clip(word));
                return Err(wrong(what, "use force or sense, with + or - for the relay to that rail".into()));
            }
        };
        pin.ok_or_else(|| {
            let what = format!("point `{}` has no {word} pin", board.point(place).name);
            wrong(what, "the fixture file says which pins there are".into())
        })
    };
    if let ("touching" | "exchanged", Some((a, b))) = (what, name.split_once('~')) {
        let place = |text: &str| {
            let Some((name, word)) = text.rsplit_once(':') else {
                let what = format!("`{}` is no pin", quantity::clip(text));
                return Err(wrong(what, "write POINT:force or POINT:sense on either side".into()));
            };
            pin(point(name)?, word.trim())
        };
        let pins = [place(a)?, place(b)?];
        if pins[0] == pins[1] {
            return Err(wrong("both are the same pin".into(), "name two pins".into()));
        }
        let touching = what == "touching";
        return Ok(if touching { Injected::Touching(pins) } else { Injected::Exchanged(pins) });
    }
    if let Some((a, b)) = name.split_once('~') {
        let (a, b) = (point(a)?, point(b)?);
        if a == b {
            return Err(wrong("both ends are the same point".into(), "name two points".into()));
        }
        if let Some(kind) = Kind::named(what) {
            return Ok(Injected::Junction([a, b], kind));
        }
        if let Some(wire) = what.strip_prefix("wire ") {
            let parts = wire.split_once(" AWG ").and_then(|(gauge, length)| {
                let gauge = gauge.trim().parse().ok().filter(|gauge| *gauge <= THINNEST_AWG)?;
                let length = quantity::parse(length.trim(), Unit::Millimetre).ok().filter(|mm| *mm > 0.0)?;
                Some((gauge, length))
            });
            let (awg, length_mm) = parts.ok_or_else(|| {
                let what = format!("`{}` is no wire", quantity::clip(wire));
                wrong(what, "write `wire 30 AWG 24 mm`, with a gauge of 0 to 40 and a length above 0".into())
            })?;
            return Ok(Injected::Wire([a, b], awg, length_mm));
        }
        return Ok(Injected::Bridge([a, b], measure(Unit::Ohm).map(Ohms)?));
    }
    if let Some((place, line)) = name.rsplit_once(':') {
        let place = point(place)?;
        let (word, rail) = match line.strip_suffix(['+', '-']) {
            Some(word) => (word, Some(usize::from(line.ends_with('-')))),
            None => (line, None),
        };
        let pin = pin(place, word)?;
        return match (rail, what) {
            (None, "open") => Ok(Injected::Pin(pin, PIN_OPEN)),
            (None, _) => Ok(Injected::Pin(pin, measure(Unit::Ohm).map(Ohms)?)),
            (Some(rail), "welded") => Ok(Injected::Relay(2 * pin + rail, RelayFault::Welded)),
            (Some(rail), "never closes") => Ok(Injected::Relay(2 * pin + rail, RelayFault::NeverCloses)),
            (Some(_), _) => {
                let what = format!("`{}` is no fault of a relay", quantity::clip(what));
                Err(wrong(what, "use `welded` or `never closes`".into()))
            }
        };
    }
    if let Some(standard) = fixture.standards.iter().position(|standard| standard.name == name) {
        return Ok(Injected::Standard(standard, measure(Unit::Fraction)?));
    }
    if let Some(gain) = name.strip_prefix("gain ") {
        let known = Gain::ALL.into_iter().find(|known| known.factor().to_string() == gain.trim());
        let gain = known.ok_or_else(|| {
            let what = format!("the ADC has no gain `{}`", quantity::clip(gain));
            wrong(what, "use 1, 2, 4, 8, 16, 32, 64 or 128".into())
        })?;
        return Ok(Injected::GainError(gain, measure(Unit::Fraction)?));
    }
    if let Some(place) = name.strip_prefix("pin ") {
        let mm = quantity::parse(what, Unit::Millimetre).map_err(|e| wrong(e.what, e.help))?;
        return Ok(Injected::Displaced(point(place)?, mm));
    }
    let plain = |unit: &str, help: &str| {
        let number = what.strip_suffix(unit).map(str::trim).and_then(|number| number.parse::<f64>().ok());
        number.filter(|number| number.is_finite()).ok_or_else(|| {
            wrong(format!("`{}` cannot be read here", quantity::clip(what)), format!("write {help}"))
        })
    };
    if let Some(at) = fixture.thermometers.iter().position(|thermometer| thermometer.name == name) {
        let fault = match what {
            "open" => ThermometerFault::Open,
            "short" => ThermometerFault::Shorted,
            _ => ThermometerFault::Off(plain("K", "open, short, or \"+2 K\"")?),
        };
        return Ok(Injected::Thermometer(at, fault));
    }
    match name {
        "bed" => Ok(Injected::Bed(plain("K", "\"+3 K\"")?)),
        "hum" => Ok(Injected::Hum(measure(Unit::Volt).map(Volts)?)),
        "unit" if what == "just soldered" => Ok(Injected::Warmer(JUST_SOLDERED_KELVIN)),
        "unit" => Ok(Injected::Warmer(Spread::Fixed(plain("K", "\"+5 K\" or \"just soldered\"")?))),
        "noise" => match plain("", "a number such as 1.5")? {
            factor if factor >= 0.0 => Ok(Injected::Noise(factor)),
            _ => Err(wrong("noise below nothing".into(), "write a number such as 1.5".into())),
        },
        "CMRR" => Ok(Injected::CommonMode(libm::pow(10.0, -plain("dB", "\"90 dB\"")? / 20.0))),
        "Rm" => Ok(Injected::Rm(measure(Unit::Fraction)?)),
        "USB" => Ok(Injected::Usb(measure(Unit::Volt).map(Volts)?)),
        "battery" => Ok(Injected::Battery(measure(Unit::Volt).map(Volts)?)),
        "charge" if board.supply.bulk > Farads::ZERO => Ok(Injected::Charge(measure(Unit::Volt).map(Volts)?)),
        "absorption" if board.supply.bulk > Farads::ZERO => {
            measure(Unit::Fraction).map(|share| Injected::Absorption(share.clamp(0.0, 1.0)))
        }
        "charge" | "absorption" => Err(wrong(
            "this board has no bulk capacitor".into(),
            "give the supply a `bulk` capacitance".into(),
        )),
        "lid" => micros(what).map(Injected::Lid).ok_or_else(|| {
            wrong(format!("`{}` is no time", quantity::clip(what)), "write \"120 ms\" or \"1.5 s\"".into())
        }),
        _ => {
            let segments = board.segments.iter().map(|segment| segment.name.as_str());
            let standards = fixture.standards.iter().map(|standard| standard.name.as_str());
            let thermometers = fixture.thermometers.iter().map(|thermometer| thermometer.name.as_str());
            let others = [
                "battery",
                "charge",
                "absorption",
                "lid",
                "bed",
                "hum",
                "unit",
                "noise",
                "CMRR",
                "Rm",
                "USB",
            ];
            let known: Vec<&str> = segments.chain(standards).chain(thermometers).chain(others).collect();
            let what = format!("there is no segment, standard or thermometer `{}`", quantity::clip(name));
            Err(wrong(what, suggestion(name, &known)))
        }
    }
}

/// A time in microseconds.
fn micros(text: &str) -> Option<u64> {
    let (number, scale) = match (text.strip_suffix("ms"), text.strip_suffix('s')) {
        (Some(number), _) => (number, 1e3),
        (None, Some(number)) => (number, 1e6),
        (None, None) => return None,
    };
    let value: f64 = number.trim().parse().ok()?;
    (value >= 0.0 && value.is_finite()).then_some((value * scale) as u64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fixture() -> Fixture {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/tide-gauge-head/fixture.toml");
        crate::fixture::read(path.as_ref()).unwrap()
    }

    #[test]
    fn every_fault_of_the_table_is_understood() {
        let fixture = fixture();
        let fault = |text: &str| parse(text, &fixture).unwrap();
        let segment = |name: &str| fixture.board.segment_named(name).unwrap();
        let point = |name: &str| fixture.board.point_named(name).unwrap();
        assert_eq!(fault("tail trace=open"), Injected::Segment(segment("tail trace"), SegmentFault::Open));
        assert_eq!(
            fault(" power switch = flaky"),
            Injected::Segment(segment("power switch"), SegmentFault::Flaky)
        );
        assert_eq!(
            fault("power switch=drops 2 ms"),
            Injected::Segment(segment("power switch"), SegmentFault::Drops(Seconds(0.002)))
        );
        assert_eq!(
            fault("power switch=film"),
            Injected::Segment(segment("power switch"), SegmentFault::Film)
        );
        assert_eq!(
            fault("power switch=330 ohm"),
            Injected::Segment(segment("power switch"), SegmentFault::Resistance(Ohms(330.0)))
        );
        let barrel = Injected::Segment(segment("via pair 1"), SegmentFault::OneBarrelOpen);
        assert_eq!(fault("via pair 1=one barrel open"), barrel);
        assert_eq!(
            fault("reg.in~cell-=2 ohm"),
            Injected::Bridge([point("reg.in"), point("cell-")], Ohms(2.0))
        );
        assert_eq!(
            fault("reg.in~cell-=schottky"),
            Injected::Junction([point("reg.in"), point("cell-")], Kind::Schottky)
        );
        assert_eq!(fault("absorption=4 %"), Injected::Absorption(0.04));
        // Pin 16 + 12: the sense channel of reg.in; its relay to sense- is the odd bit.
        assert_eq!(fault("reg.in:sense=5 kohm"), Injected::Pin(28, Ohms(5e3)));
        assert_eq!(fault("reg.in:force=open"), Injected::Pin(3, PIN_OPEN));
        assert_eq!(fault("cell+:sense~tail.in:sense=touching"), Injected::Touching([16, 17]));
        assert_eq!(fault("cell+:sense~tail.in:sense=exchanged"), Injected::Exchanged([16, 17]));
        assert_eq!(fault("reg.in:sense-=welded"), Injected::Relay(57, RelayFault::Welded));
        assert_eq!(fault("cell+:force+=never closes"), Injected::Relay(0, RelayFault::NeverCloses));
        assert_eq!(fault("1R=-0.5 %"), Injected::Standard(0, -0.005));
        assert_eq!(fault("battery=3.0 V"), Injected::Battery(Volts(3.0)));
        assert_eq!(fault("charge=5 V"), Injected::Charge(Volts(5.0)));
        assert_eq!(fault("lid=120 ms"), Injected::Lid(120_000));
        assert_eq!(fault("lid=1.5 s"), Injected::Lid(1_500_000));
        assert_eq!(fault("hum=2 uV"), Injected::Hum(Volts(2e-6)));
        assert_eq!(fault("unit=+5 K"), Injected::Warmer(Spread::Fixed(5.0)));
        assert_eq!(fault("unit=just soldered"), Injected::Warmer(JUST_SOLDERED_KELVIN));
        assert_eq!(fault("noise=1.5"), Injected::Noise(1.5));
        assert_eq!(fault("gain 16=+0.05 %"), Injected::GainError(Gain::X16, 0.0005));
        assert_eq!(fault("Rm=-0.08 %"), Injected::Rm(-0.0008));
        assert_eq!(fault("USB=4.4 V"), Injected::Usb(Volts(4.4)));
        assert_eq!(fault("CMRR=80 dB"), Injected::CommonMode(1e-4));
        assert_eq!(fault("pin via1.b=-0.3 mm"), Injected::Displaced(point("via1.b"), -0.3));
    }

    #[test]
    fn what_cannot_be_put_in_is_refused_with_a_remedy() {
        let fixture = fixture();
        let cases = [
            ("tail trace", "fault `tail trace`: there is no `=`; write NAME=WHAT, such as `main fuse=open`"),
            (
                "tail trce=open",
                "fault `tail trce=open`: there is no segment, standard or thermometer `tail trce`; did you mean `tail trace`?",
            ),
            (
                "tail trace=broken",
                "fault `tail trace=broken`: `broken` is no fault of a segment; use open, flaky, drops 2 ms, film, one barrel open, \
                 or a resistance such as 330 ohm",
            ),
            (
                "tail trace=drops often",
                "fault `tail trace=drops often`: `often` is no time to drop out for; write `drops 2 ms` or `drops 0.5 s`",
            ),
            (
                "tail trace=one barrel open",
                "fault `tail trace=one barrel open`: `tail trace` is not a group of parallel vias; use `open` or a \
                 resistance",
            ),
            (
                "reg.in~cel-=1 ohm",
                "fault `reg.in~cel-=1 ohm`: there is no point `cel-`; did you mean `cell-`?",
            ),
            (
                "via1.b:force=open",
                "fault `via1.b:force=open`: point `via1.b` has no force pin; the fixture file says which pins there are",
            ),
            (
                "via1.b:sense+=loose",
                "fault `via1.b:sense+=loose`: `loose` is no fault of a relay; use `welded` or `never closes`",
            ),
            ("lid=soon", "fault `lid=soon`: `soon` is no time; write \"120 ms\" or \"1.5 s\""),
        ];
        for (text, message) in cases {
            assert_eq!(parse(text, &fixture).unwrap_err().to_string(), message);
        }
        for text in [
            "",
            "=",
            "~=",
            ":=1 ohm",
            "cell+:sense~cell+:sense=touching",
            "cell+~tail.in=touching",
            "battery=3",
            "battery=-1 V",
            "reg.in~reg.in=1 ohm",
            "lid=-1 s",
            "1R=2 V",
            "hum=-1 uV",
            "unit=5",
            "noise=-1",
            "noise=much",
            "gain 3=1 %",
            "gain 16=1 V",
            "pin nowhere=1 mm",
            "pin via1.b=1 V",
            "CMRR=90",
        ] {
            assert!(parse(text, &fixture).is_err(), "{text}");
        }
    }
}
