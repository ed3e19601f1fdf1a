//! Every peer that is tried, by the step at which it misbehaves, and what the program is to make of it.

use std::time::Duration;

use copperwalk_tests::peer::{Do, frame};
use copperwalk_wire::{
    FromBench, PROTOCOL, Packet, ToBench,
    message::{CODES_PER_FRAME, Fault, Identity, Refusal, Rule, RunEnd, ShotEnd},
};

use super::scripts::*;

pub(super) fn greeting() -> Vec<Row> {
    const SILENT: &str = "the controller did not answer the greeting within 3.0 s";
    const IMPOSSIBLE: &str = "the controller gave an impossible answer: expected ";
    use Stated::Answer;
    let version = |name: &str, words, script| Row { status: 2, ..row(name, Answer, words, script) };
    let half = |packet: &Packet<ToBench>, answers: Answers| {
        assert!(hello(&packet.body));
        let bytes = frame(&answers[0]);
        vec![Do::Bytes(bytes[..bytes.len() / 2].to_vec())]
    };
    let flipped = |_: &Packet<ToBench>, answers: Answers| {
        let mut bytes = frame(&answers[0]);
        bytes[5] ^= 0x04;
        vec![Do::Bytes(bytes)]
    };
    vec![
        row("greeting: silence", Answer, SILENT, does(hello, vec![])),
        row("greeting: half a frame", Answer, SILENT, when(hello, half)),
        row("greeting: a flipped bit", Answer, SILENT, when(hello, flipped)),
        row(
            "greeting: ten seconds late",
            Answer,
            SILENT,
            when(hello, |_, answers| [vec![Do::Pause(Duration::from_secs(10))], say(answers)].concat()),
        ),
        row("greeting: reads nothing", Answer, SILENT, does(hello, vec![Do::Deaf])),
        row(
            "greeting: foreign numbers, 20 a second",
            Answer,
            "messages came that answer no question",
            does(hello, vec![Do::Repeat(foreign(FromBench::Done), CHATTER)]),
        ),
        row(
            "greeting: status, 20 a second",
            Answer,
            SILENT,
            does(hello, vec![Do::Repeat(foreign(status()), CHATTER)]),
        ),
        row(
            "greeting: flood of zeros",
            Answer,
            "the controller",
            does(hello, vec![Do::Repeat(vec![0; 4096], FLOOD)]),
        ),
        row(
            "greeting: flood of bytes without an end",
            Answer,
            "the controller",
            does(hello, vec![Do::Repeat(vec![0x55; 4096], FLOOD)]),
        ),
        row(
            "greeting: flood of valid frames",
            Answer,
            "the controller",
            does(hello, vec![Do::Repeat(foreign(FromBench::Done), FLOOD)]),
        ),
        row("greeting: \"done\"", Answer, IMPOSSIBLE, instead(hello, FromBench::Done)),
        row("greeting: a status", Answer, IMPOSSIBLE, instead(hello, status())),
        row("greeting: the end of a run", Answer, IMPOSSIBLE, instead(hello, ended(RunEnd::Complete, 0, 0))),
        row("greeting: refused as busy", Answer, "the controller refused: a plan is running", {
            instead(hello, FromBench::Refused(Refusal::Busy))
        }),
        row("greeting: no force channels", Answer, IMPOSSIBLE, identity(|who| who.force_channels = 0)),
        row("greeting: no sense channels", Answer, IMPOSSIBLE, identity(|who| who.sense_channels = 0)),
        row("greeting: room for no shots", Answer, IMPOSSIBLE, identity(|who| who.plan_capacity = 0)),
        row(
            "greeting: room for one shot",
            Answer,
            "it holds 1 readings at most",
            identity(|who| who.plan_capacity = 1),
        ),
        row("greeting: unplugged", Answer, "unplugged", does(hello, vec![Do::Unplug])),
        version("greeting: an older version", "flash the firmware that came with this program", {
            instead(hello, FromBench::Refused(Refusal::Protocol { mine: PROTOCOL - 1 }))
        }),
        version("greeting: a newer version", "update this program", identity(|who| who.protocol = u16::MAX)),
        version("greeting: too few channels", "this controller has 1 and 1", {
            identity(|who| (who.force_channels, who.sense_channels) = (1, 1))
        }),
    ]
}

pub(super) fn loading() -> Vec<Row> {
    const SILENT: &str = "the controller did not answer within 3.0 s";
    const NO_START: &str = "the controller did not take the plan within 3.0 s";
    use Stated::{Answer, Start};
    let missing = FromBench::Refused(Refusal::ShotMissing { expected: u16::MAX });
    let rule = FromBench::Refused(Refusal::Rule { index: 1, rule: Rule::ChannelRange });
    vec![
        row("plan: silence", Answer, SILENT, does(load, vec![])),
        row("plan: reads nothing", Answer, SILENT, does(load, vec![Do::Deaf])),
        row("plan: unplugged", Answer, "unplugged", does(load, vec![Do::Unplug])),
        row("plan: greets again", Answer, "expected \"done\", got a status", instead(load, status())),
        row(
            "plan: refused as busy",
            Answer,
            "a plan is running",
            instead(load, FromBench::Refused(Refusal::Busy)),
        ),
        row(
            "plan: flood of status",
            Answer,
            "the controller",
            does(load, vec![Do::Repeat(foreign(status()), FLOOD)]),
        ),
        row(
            "shots: refused by number 65535",
            Start,
            "reading 65535 of the plan did not arrive",
            instead(shot, missing),
        ),
        row("shots: refused by a rule", Start, "its matrix has no such channel", instead(shot, rule)),
        row("shots: unplugged", Start, "unplugged", does(shot, vec![Do::Unplug])),
        row("start: silence", Start, NO_START, does(run, vec![])),
        row("start: refused, lid open", Start, "the lid is open; close it", {
            instead(run, FromBench::Refused(Refusal::LidOpen))
        }),
        row("start: refused, broken", Start, "the relay drivers cannot be written", {
            instead(run, FromBench::Refused(Refusal::Broken(Fault::Matrix)))
        }),
        row("start: the end before the start", Start, "expected \"done\", got the end of the run", {
            instead(run, ended(RunEnd::Complete, 0, 0))
        }),
        row(
            "start: codes before the start",
            Start,
            "expected \"done\", got 4 conversions",
            instead(run, codes(0, 0, 4)),
        ),
    ]
}

pub(super) fn running() -> Vec<Row> {
    const SILENT: &str = "the controller did not finish reading 1 of ";
    const IMPOSSIBLE: &str = "the controller gave an impossible answer at reading ";
    use Stated::{Run, Shot};
    let dawdle = |every: Duration| {
        stream(move |answers| {
            let slow = |answer: Packet<FromBench>| match answer.body {
                FromBench::Shot { .. } => vec![Do::Pause(every), Do::Say(answer)],
                _ => vec![Do::Say(answer)],
            };
            answers.into_iter().flat_map(slow).collect()
        })
    };
    let one_code_at_a_time = || {
        after(1, |seq| {
            let code = |first: u16| Do::Say(Packet { seq, body: codes(0, first, 1) });
            (0..100).flat_map(|first| [Do::Pause(Duration::from_secs(3)), code(first)]).collect()
        })
    };
    let many_codes = || {
        after(1, |seq| {
            let part = CODES_PER_FRAME as u16;
            let codes = |frame: u16| Do::Say(Packet { seq, body: codes(0, frame * part, CODES_PER_FRAME) });
            (0..65_000 / part).map(codes).collect()
        })
    };
    let many_shots = || {
        after(3, |seq| {
            let shot =
                |shot| FromBench::Shot { shot, codes: 0, why: ShotEnd::Complete, from_us: 0, to_us: 0 };
            (1..65_000).map(|number| Do::Say(Packet { seq, body: shot(number) })).collect()
        })
    };
    let mut rows = vec![
        row("run: silence", Shot, SILENT, after(1, |_| vec![])),
        row("run: silence in a shot", Shot, SILENT, after(2, |_| vec![])),
        row(
            "run: silence before the end",
            Shot,
            "the controller did not finish the run",
            stream(|mut answers| {
                answers.pop();
                say(answers)
            }),
        ),
        row("run: reads nothing, says nothing", Shot, SILENT, after(1, |_| vec![Do::Deaf])),
        row(
            "run: half a frame",
            Shot,
            SILENT,
            after(1, |seq| vec![Do::Bytes(frame(&Packet { seq, body: codes(0, 0, 4) })[..6].to_vec())]),
        ),
        row("run: one code every 3 s", Shot, SILENT, one_code_at_a_time()),
        row("run: every shot just in time", Run, "the controller did not finish the run within 1", {
            dawdle(Duration::from_millis(4_700))
        }),
        row(
            "run: status, 20 a second",
            Shot,
            SILENT,
            after(1, |_| vec![Do::Repeat(foreign(status()), CHATTER)]),
        ),
        row(
            "run: foreign numbers, 20 a second",
            Shot,
            "messages came that answer no question",
            after(1, |_| vec![Do::Repeat(foreign(codes(0, 0, 4)), CHATTER)]),
        ),
        row(
            "run: flood of status",
            Shot,
            "the controller",
            after(1, |_| vec![Do::Repeat(foreign(status()), FLOOD)]),
        ),
        row(
            "run: flood of bytes without an end",
            Shot,
            "the controller",
            after(1, |_| vec![Do::Repeat(vec![0x55; 4096], FLOOD)]),
        ),
        row(
            "run: flood of codes",
            Shot,
            IMPOSSIBLE,
            after(1, |seq| {
                vec![Do::Repeat(frame(&Packet { seq, body: codes(0, 0, CODES_PER_FRAME) }), FLOOD)]
            }),
        ),
        row("run: 65,000 codes in a shot", Shot, IMPOSSIBLE, many_codes()),
        row("run: 65,000 shots", Shot, IMPOSSIBLE, many_shots()),
        row(
            "run: codes twice",
            Shot,
            IMPOSSIBLE,
            stream(|mut answers| {
                answers.insert(CODES, answers[CODES].clone());
                say(answers)
            }),
        ),
        row(
            "run: codes missing",
            Shot,
            IMPOSSIBLE,
            stream(|mut answers| {
                answers.remove(CODES);
                say(answers)
            }),
        ),
        row(
            "run: a shot missing",
            Shot,
            IMPOSSIBLE,
            stream(|mut answers| {
                answers.drain(CODES..=END_OF_SHOT);
                say(answers)
            }),
        ),
        row(
            "run: shots out of order",
            Shot,
            IMPOSSIBLE,
            stream(|mut answers| {
                answers.swap(CODES, END_OF_SHOT);
                say(answers)
            }),
        ),
        row("run: codes of shot 65536", Shot, IMPOSSIBLE, insert(CODES, codes(u16::MAX, 0, 1))),
        row("run: codes from number 65535", Shot, IMPOSSIBLE, insert(CODES, codes(0, u16::MAX, 1))),
        row("run: no codes", Shot, IMPOSSIBLE, insert(CODES, codes(0, 0, 0))),
        row(
            "run: codes of 32 bits",
            Shot,
            "beyond the 24 bits of the converter",
            altered(CODES, |body| {
                if let FromBench::Codes { codes, .. } = body {
                    codes[0] = i32::MIN;
                }
            }),
        ),
        row(
            "run: one code too few",
            Shot,
            IMPOSSIBLE,
            altered(END_OF_SHOT, |body| {
                if let FromBench::Shot { codes, .. } = body {
                    *codes -= 1;
                }
            }),
        ),
        row(
            "run: an end that the shot cannot have",
            Shot,
            IMPOSSIBLE,
            altered(END_OF_SHOT, |body| {
                if let FromBench::Shot { why, .. } = body {
                    *why = ShotEnd::Decided;
                }
            }),
        ),
        row(
            "run: a shot of 71 minutes",
            Shot,
            "expected times from 0 to ",
            altered(END_OF_SHOT, |body| {
                if let FromBench::Shot { to_us, .. } = body {
                    *to_us = u32::MAX;
                }
            }),
        ),
        row(
            "run: time running backwards",
            Shot,
            "expected times from 0 to ",
            altered(END_OF_SHOT, |body| {
                if let FromBench::Shot { from_us, to_us, .. } = body {
                    (*from_us, *to_us) = (u32::MAX, 0);
                }
            }),
        ),
        row("run: voltage that its codes deny", Shot, IMPOSSIBLE, insert(3, ended(RunEnd::Residual, 1, 4))),
        row(
            "run: goes on though its check failed",
            Shot,
            "expected the end of the run for voltage on the unit",
            {
                altered(CODES, |body| {
                    if let FromBench::Codes { codes, .. } = body {
                        codes[3] = 1_000_000;
                    }
                })
            },
        ),
        row("run: a gate where none is", Shot, IMPOSSIBLE, insert(3, ended(RunEnd::Gate, 1, 4))),
        row("run: no contact, and no shots", Shot, IMPOSSIBLE, insert(1, ended(RunEnd::NoContact, 0, 0))),
        row("run: complete with no shots", Shot, IMPOSSIBLE, insert(1, ended(RunEnd::Complete, 0, 0))),
        row("run: complete after one shot", Shot, IMPOSSIBLE, insert(3, ended(RunEnd::Complete, 1, 4))),
        row("run: ended with 65535 shots", Shot, IMPOSSIBLE, insert(3, ended(RunEnd::Complete, u16::MAX, 4))),
        row(
            "run: four billion closures",
            Shot,
            "relays closed in the run",
            stream(|mut answers| {
                if let Some(FromBench::Ended { closures, .. }) =
                    answers.last_mut().map(|answer| &mut answer.body)
                {
                    *closures = u32::MAX;
                }
                say(answers)
            }),
        ),
        row("run: stopped by somebody else", Shot, "stopped by another program on the same port", {
            insert(3, ended(RunEnd::Stopped, 1, 4))
        }),
        row(
            "run: a greeting",
            Shot,
            IMPOSSIBLE,
            stream(|mut answers| {
                let who = Identity {
                    protocol: PROTOCOL,
                    firmware: (0, 0, 0),
                    serial: [0; 8],
                    force_channels: 1,
                    sense_channels: 1,
                    plan_capacity: 1,
                };
                answers.insert(CODES, Packet { seq: answers[DONE].seq, body: FromBench::Hello(who) });
                say(answers)
            }),
        ),
        row("run: a status under its own number", Shot, IMPOSSIBLE, insert(2, status())),
        row("run: an echo", Shot, IMPOSSIBLE, insert(2, FromBench::Echo { bytes: Default::default() })),
        row("run: \"done\" twice", Shot, IMPOSSIBLE, insert(1, FromBench::Done)),
        row("run: unplugged at the start", Shot, "unplugged", after(1, |_| vec![Do::Unplug])),
        row(
            "run: unplugged in a shot",
            Shot,
            "unplugged",
            after(2, |_| vec![Do::Pause(CHATTER), Do::Unplug]),
        ),
        row(
            "run: unplugged before the end",
            Shot,
            "unplugged",
            stream(|mut answers| {
                answers.pop();
                [say(answers), vec![Do::Pause(CHATTER), Do::Unplug]].concat()
            }),
        ),
        row("run: a pause without end", Shot, SILENT, after(1, |_| vec![Do::Pause(FOR_EVER)])),
    ];
    for refusal in refusals() {
        let name = format!("run: refused in the middle, {refusal:?}");
        rows.push(row(name, Shot, IMPOSSIBLE, insert(2, FromBench::Refused(refusal))));
    }
    rows
}
