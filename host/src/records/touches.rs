//! What was read by hand as bytes in format `touches/v1`, and back.

use crate::measurement;
use crate::quantity::Ohms;
use crate::raw::RawError;
use crate::raw::touches_v1::{ByHand, Method, Touch};

/// Packs what was read by hand.
///
/// # Errors
/// None in practice: every part has its place in the format.
pub(super) fn pack(by_hand: &measurement::ByHand) -> Result<Vec<u8>, RawError> {
    let touches = by_hand.touches.iter().map(|touch| Touch {
        from: touch.from.clone(),
        to: touch.to.clone(),
        state: touch.state.clone(),
        on_good_unit: touch.on_good_unit,
        answered: touch.answered.clone(),
        meter: touch.meter.clone(),
        method: touch.method.map(|method| match method {
            measurement::Method::Continuity => Method::Continuity,
            measurement::Method::TwoWire => Method::TwoWire,
            measurement::Method::FourWire => Method::FourWire,
        }),
        lead_ohms: touch.lead.map(|ohms| ohms.0),
        ohms: touch.resistance.map(|ohms| ohms.0),
        at_least_ohms: touch.at_least.map(|ohms| ohms.0),
        at_most_ohms: touch.at_most.map(|ohms| ohms.0),
    });
    Ok(postcard::to_allocvec(&ByHand { touches: touches.collect(), stopped: by_hand.stopped })?)
}

/// Unpacks what [`pack`] gave. Nothing may be left over.
///
/// # Errors
/// Torn, padded or altered bytes.
pub(super) fn unpack(bytes: &[u8]) -> Result<measurement::ByHand, RawError> {
    let (ByHand { touches, stopped }, rest) = postcard::take_from_bytes(bytes)?;
    if !rest.is_empty() {
        return Err(postcard::Error::DeserializeBadEncoding.into());
    }
    let touches = touches.into_iter().map(|touch| measurement::Touch {
        from: touch.from,
        to: touch.to,
        state: touch.state,
        on_good_unit: touch.on_good_unit,
        answered: touch.answered,
        meter: touch.meter,
        method: touch.method.map(|method| match method {
            Method::Continuity => measurement::Method::Continuity,
            Method::TwoWire => measurement::Method::TwoWire,
            Method::FourWire => measurement::Method::FourWire,
        }),
        lead: touch.lead_ohms.map(Ohms),
        resistance: touch.ohms.map(Ohms),
        at_least: touch.at_least_ohms.map(Ohms),
        at_most: touch.at_most_ohms.map(Ohms),
    });
    Ok(measurement::ByHand { touches: touches.collect(), stopped })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn by_hand() -> measurement::ByHand {
        let touch = |method, answered: &str, ohms: Option<f64>| measurement::Touch {
            from: "cell+".into(),
            to: "via.a".into(),
            state: "on".into(),
            on_good_unit: false,
            answered: answered.into(),
            meter: "typed".into(),
            method,
            lead: Some(Ohms(0.2)),
            resistance: ohms.map(Ohms),
            at_least: None,
            at_most: Some(Ohms(1.3)),
        };
        let touches = vec![
            touch(Some(measurement::Method::Continuity), "beep", None),
            touch(Some(measurement::Method::TwoWire), "1.2 ohm", Some(1.0)),
            touch(Some(measurement::Method::FourWire), "12 mohm", Some(0.012)),
            touch(None, "skip", None),
        ];
        measurement::ByHand { touches, stopped: true }
    }

    #[test]
    fn what_was_packed_comes_back_and_torn_bytes_do_not() {
        let packed = pack(&by_hand()).unwrap();
        assert_eq!(unpack(&packed).unwrap(), by_hand());
        assert!(matches!(unpack(&packed[..packed.len() - 1]), Err(RawError::Bytes(_))));
        assert!(matches!(unpack(&[&packed[..], &[0]].concat()), Err(RawError::Bytes(_))));
    }

    /// Fails when the bytes change. They are frozen: a change is a new format beside this one.
    #[test]
    fn the_bytes_are_those_of_v1() {
        let touch = pack(&measurement::ByHand {
            touches: vec![measurement::Touch {
                from: "a".into(),
                to: "b".into(),
                ..by_hand().touches[1].clone()
            }],
            stopped: false,
        });
        let mut frozen = vec![1, 1, b'a', 1, b'b', 2, b'o', b'n', 0, 7];
        frozen.extend(*b"1.2 ohm");
        frozen.push(5);
        frozen.extend(*b"typed");
        frozen.extend([1, 1, 1]);
        frozen.extend(0.2_f64.to_le_bytes());
        frozen.push(1);
        frozen.extend(1.0_f64.to_le_bytes());
        frozen.extend([0, 1]);
        frozen.extend(1.3_f64.to_le_bytes());
        frozen.push(0);
        assert_eq!(touch.unwrap(), frozen);
    }
}
