//! A small board of two layers, invented for these tests, and what makes readers stumble.

use super::*;
use crate::import::layout::Pad;

const FRONT: &str = "\
G04 Invented for these tests*
%TF.GenerationSoftware,nobody,nothing,1*%
%TF.ProjectId,Reading lamp,6c616d70-0000-0000-0000-000000000000,B*%
%TF.FileFunction,Copper,L1,Top*%
%TF.FilePolarity,Positive*%
%FSLAX46Y46*%
%MOMM*%
%LPD*%
G01*
%AMRound*1,1,$1,0,0*%
%TA.AperFunction,ComponentPad*%
%ADD10Round,1.6*%
%TA.AperFunction,SMDPad,CuDef*%
%ADD11R,1.0X1.2*%
%TA.AperFunction,ViaPad*%
%ADD12C,0.8*%
%TA.AperFunction,Conductor*%
%ADD13C,0.8*%
%TD*%
%ADD14C,0.15*%
D10*
%TO.P,J1,1,plus*%
%TO.N,/IN*%
%TO.C,J1*%
X5000000Y10000000D03*
%TO.P,J1,2*%
%TO.N,GND*%
X5000000Y30000000D03*
%TO.C,U1*%
%TO.P,U1,1*%
%TO.N,/OUT*%
X55000000Y10000000D03*
%TO.P,U1,2*%
%TO.N,GND*%
X55000000Y30000000D03*
D11*
%TO.C,F1*%
%TO.P,F1,1*%
%TO.N,/IN*%
X20000000Y10000000D03*
%TO.P,F1,2*%
%TO.N,/OUT*%
X24000000Y10000000D03*
%TD.P*%
%TD.C*%
D12*
X40000000Y10000000D03*
D13*
%TO.N,/IN*%
X5000000Y10000000D02*
X20000000D01*
%TO.N,/OUT*%
X24000000Y10000000D02*
X40000000D01*
%TD*%
D14*
X1000000Y1000000D02*
X3000000D01*
M02*
";

const BACK: &str = "\
%TF.FileFunction,Copper,L2,Bot*%
%FSLAX46Y46*MOMM*%
%AMRound*1,1,$1,0,0*%
%TA.AperFunction,ComponentPad*%
%ADD10Round,1.6*%
%TA.AperFunction,ViaPad*%
%ADD12C,0.8*%
%TA.AperFunction,Conductor*%
%ADD13C,1*%
%TD*%
D10*
%TO.P,J1,1*%
%TO.N,/IN*%
X5000000Y10000000D03*
%TO.P,J1,2*%
%TO.N,GND*%
X5000000Y30000000D03*
%TO.P,U1,1*%
%TO.N,/OUT*%
X55000000Y10000000D03*
%TO.P,U1,2*%
%TO.N,GND*%
X55000000Y30000000D03*
%TD.P*%
%TO.N,/OUT*%
D12*
X40000000Y10000000D03*
D13*
X40000000Y10000000D02*
X55000000D01*
%TO.N,GND*%
X5000000Y30000000D02*
X55000000D01*
M02*
";

const EDGE: &str = "\
%TF.FileFunction,Profile,NP*%
%FSLAX46Y46*%
%MOMM*%
%ADD10C,0.05*%
D10*
G75*
X0Y0D02*
G01X60000000D01*
Y38000000D01*
G03X58000000Y40000000I-2000000J0D01*
G01X0D01*
Y0D01*
M02*
";

const PARTS: &str = "\
%TF.FileFunction,Component,L1,Top*%
%FSLAX46Y46*%
%MOMM*%
%TA.AperFunction,ComponentMain*%
%ADD10C,0.3*%
D10*
%TO.C,F1*%
%TO.CVal,2A*%
X22000000Y10000000D03*
%TO.C,U1*%
%TO.CVal,lamp*%
X55000000Y20000000D03*
M02*
";

const DRILL: &str = "\
M48
; #@! TF.FileFunction,Plated,1,2,PTH
METRIC
; #@! TA.AperFunction,Plated,PTH,ViaDrill
T1C0.4
; #@! TA.AperFunction,Plated,PTH,ComponentDrill
T2C0.8
%
G90
G05
T1
X40.0Y10.0
T2
X5.0Y10.0
X5.0Y30.0
X55.0Y10.0
X55.0Y30.0
M30
";

/// The set, with some files in another text.
pub fn set(changed: &[(&str, &str)]) -> Result<Layout, ImportError> {
    let files = [("front", FRONT), ("back", BACK), ("edge", EDGE), ("parts", PARTS), ("drill", DRILL)];
    let files = files.map(|(name, text)| {
        let text = changed.iter().find(|(other, _)| *other == name).map_or(text, |(_, text)| text);
        Ok((PathBuf::from(name), text.to_owned()))
    });
    read(Path::new("lamp"), files)
}

/// What a Gerber file draws, after `FSLAX46Y46`, millimetres and aperture 10, a disc of 1 mm.
fn drawn(body: &str) -> Result<Vec<Object>, String> {
    let text = format!("%FSLAX46Y46*MOMM*ADD10C,1*ADD11R,2X1*%\nD10*\n{body}\nM02*\n");
    let plot = plot::read(&text, &mut Budget::new()).map_err(|error| error.what)?;
    polarity::resolve(plot.objects)
}

fn places(objects: &[Object]) -> Vec<[f64; 2]> {
    let at = |object: &Object| match object.mark {
        Mark::Flash(at) => Some(at.map(|mm| (mm * 1e6).round() / 1e6)),
        _ => None,
    };
    objects.iter().filter_map(at).collect()
}

#[test]
fn a_set_becomes_a_layout() {
    let layout = set(&[]).unwrap();
    assert_eq!((layout.title.as_str(), layout.revision.as_str()), ("Reading lamp", "B"));
    assert_eq!((layout.layers.len(), layout.stacked, layout.thickness_mm), (2, false, None));
    let pads: Vec<(String, &Pad)> = layout.pads.iter().map(|pad| (layout.pad_name(pad), pad)).collect();
    let names: Vec<&str> = pads.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names, ["J1.1", "J1.2", "U1.1", "U1.2", "F1.1", "F1.2"]);
    let [j1, .., f1] = &layout.pads[..] else { panic!() };
    assert_eq!((j1.layers.as_slice(), j1.hole.as_ref().map(Region::radius)), (&[0, 1][..], Some(0.4)));
    assert_eq!((f1.layers.as_slice(), f1.hole.is_none()), (&[0][..], true));
    let [via] = &layout.vias[..] else { panic!("{:?}", layout.vias) };
    assert_eq!((via.at, via.land_mm, via.drill_mm, via.layers), ([40.0, 10.0], 0.8, 0.4, [0, 1]));
    assert_eq!((layout.tracks.len(), layout.fills.len()), (4, 0));
    let value = |name: &str| layout.parts.iter().find(|part| part.reference == name).unwrap().value.clone();
    assert_eq!((value("F1").as_str(), value("J1").as_str()), ("2A", ""));
    let outline = layout.outline.as_ref().unwrap();
    assert!(outline.len() > 10 && outline.contains(&[0.0, 40.0]), "the corner's arc: {outline:?}");
    assert!(
        layout.notes.iter().any(|note| note.starts_with("1 pieces of copper belong to no net")),
        "{:?}",
        layout.notes
    );
}

#[test]
fn attributes_in_comments_count_and_bare_or_missing_holes_make_no_via() {
    let comments = |text: &str| {
        text.lines()
            .map(|line| match line.strip_prefix("%T").and_then(|rest| rest.strip_suffix('%')) {
                Some(rest) => format!("G04 #@! T{rest}\n"),
                None => format!("{line}\n"),
            })
            .collect::<String>()
    };
    let (front, back) = (comments(FRONT), comments(BACK));
    assert_eq!(set(&[("front", &front), ("back", &back)]).unwrap(), set(&[]).unwrap());
    let plain = set(&[("drill", &DRILL.replace("; #@!", ";"))]).unwrap();
    assert_eq!((plain.vias.len(), plain.pads.len()), (1, 6));
    assert!(plain.notes.iter().any(|note| note.contains("does not say whether its holes are plated")));
    // A via whose land the exporter left out, in copper of one net on both layers.
    let without = |text: &str| text.replace("X40000000Y10000000D03*\n", "");
    let layout = set(&[("front", &without(FRONT)), ("back", &without(BACK))]).unwrap();
    assert_eq!(layout.vias.iter().map(|via| via.land_mm).collect::<Vec<_>>(), [0.4]);
    let gone = set(&[("drill", &DRILL.replace("X40.0Y10.0\n", ""))]).unwrap();
    assert!(
        gone.vias.is_empty()
            && gone.notes.iter().any(|note| note.starts_with("1 lands of vias have no hole"))
    );
    // The drill file as a Gerber file.
    let gerber = "%TF.FileFunction,Plated,1,2,PTH,Drill*%%FSLAX46Y46*MOMM*%%TA.AperFunction,ViaDrill*ADD10C,0.4*%\
        %TA.AperFunction,ComponentDrill*ADD11C,0.8*%D10*X40000000Y10000000D03*D11*X5000000Y10000000D03*Y30000000D03*\
        X55000000D03*Y10000000D03*M02*";
    assert_eq!(set(&[("drill", gerber)]).unwrap(), set(&[]).unwrap());
}

#[test]
fn what_a_set_lacks_is_named() {
    let plain =
        |text: &str| text.lines().filter(|line| !line.starts_with("%TO")).collect::<Vec<_>>().join("\n");
    let (front, back) = (plain(FRONT), plain(BACK));
    for (changed, wanted) in [
        (&[("front", front.as_str()), ("back", back.as_str())][..], "say neither which net copper is on"),
        (&[("front", ""), ("back", "")], "holds no Gerber file that says it is a copper layer"),
        (&[("back", "")], "lacks the Gerber file of copper layer L2"),
        (&[("front", "")], "lacks the Gerber file of copper layer L1"),
        (&[("drill", "")], "lands of plated holes and no drill file"),
        (&[("edge", FRONT)], "another file says too that it is copper layer L1"),
        (&[("edge", "%TF.FileFunction,Copper,Lx,Top*%M02*")], "is no copper layer such as L1"),
    ] {
        let error = set(changed).unwrap_err().to_string();
        assert!(error.contains(wanted), "{error}");
    }
    let layout = set(&[("edge", "%FSLAX46Y46*MOMM*%M02*")]).unwrap();
    assert!(
        layout.outline.is_none()
            && layout.notes[0].contains("1 Gerber files do not say what they hold (edge)")
    );
}

#[test]
fn what_is_cut_off_is_refused_at_every_length() {
    for (name, text) in [("front", FRONT), ("back", BACK), ("drill", DRILL)] {
        for end in 0..text.trim_end().len() - 1 {
            assert!(set(&[(name, &text[..end])]).is_err(), "{name} {end}");
        }
    }
    // Of edge and parts what is too short to be recognised is as good as not there.
    for (name, text) in [("edge", EDGE), ("parts", PARTS)] {
        for end in text.find('*').unwrap() + 1..text.trim_end().len() - 1 {
            assert!(set(&[(name, &text[..end])]).is_err(), "{name} {end}");
        }
    }
}

#[test]
fn arcs_are_drawn_about_their_centres() {
    let length = |body: &str| drawn(body).map(|objects| objects[0].copper[0].length());
    let quarter = std::f64::consts::FRAC_PI_2 * 2.0;
    for (body, wanted) in [
        ("G75*X2000000Y0D02*G03X0Y2000000I-2000000J0D01*", quarter),
        ("G75*X2000000Y0D02*G02X0Y2000000I-2000000J0D01*", 3.0 * quarter),
        ("G75*X2000000Y0D02*G03X2000000Y0I-2000000J0D01*", 4.0 * quarter),
        ("G74*X2000000Y0D02*G03X0Y2000000I2000000J0D01*", quarter),
        ("G74*X2000000Y0D02*G02X0Y-2000000I2000000J0D01*", quarter),
    ] {
        let found = length(body).unwrap();
        assert!((found - wanted).abs() < 0.01, "{body}: {found}");
    }
    assert!(
        length("G75*X2000000Y0D02*G03X0Y5000000I-2000000J0D01*").unwrap_err().contains("different distances")
    );
}

#[test]
fn blocks_and_repeats_put_objects_where_they_belong() {
    let repeat = drawn("%SRX3Y2I5.0J4.0*%X1000000Y1000000D03*%SR*%X0Y0D03*").unwrap();
    assert_eq!(
        places(&repeat),
        [[1.0, 1.0], [1.0, 5.0], [6.0, 1.0], [6.0, 5.0], [11.0, 1.0], [11.0, 5.0], [0.0, 0.0]]
    );
    let block =
        "%ABD20*%D10*X1000000Y0D03*D11*X2000000Y0D03*%AB*%%LR90*%%LMX*%%LS2*%D20*X10000000Y10000000D03*";
    let block = drawn(block).unwrap();
    // Mirrored left to right to (-1, 0), turned to (0, -1), scaled to (0, -2).
    assert_eq!(places(&block), [[10.0, 8.0], [10.0, 6.0]]);
    let [[lx, ly], [hx, hy]] = block[1].copper[0].bounds().corners();
    assert!((hx - lx - 2.0).abs() < 1e-9 && (hy - ly - 4.0).abs() < 1e-9);
    let nested =
        drawn("%ABD20*%D10*X0Y0D03*%AB*%%ABD21*%D20*X0Y0D03*X1000000Y0D03*%AB*%D21*X0Y0D03*Y5000000D03*")
            .unwrap();
    assert_eq!(places(&nested), [[0.0, 0.0], [1.0, 0.0], [0.0, 5.0], [1.0, 5.0]]);
}

#[test]
fn clear_objects_take_copper_away() {
    let area = |x: f64, y: f64, objects: &[Object]| {
        objects.iter().flat_map(|object| &object.copper).any(|copper| copper.holds([x, y], 0.0))
    };
    let square = "G36*X-5000000Y-5000000D02*X5000000D01*Y5000000D01*X-5000000D01*Y-5000000D01*G37*";
    let ring = drawn(&format!("{square}%LPC*%X0Y0D03*%LPD*%X2000000Y2000000D03*")).unwrap();
    assert!(!area(0.0, 0.0, &ring) && area(0.6, 0.0, &ring) && area(2.0, 2.0, &ring));
    assert_eq!(ring.len(), 2);
    // A track that is cut through is an area of two parts.
    let cut = drawn("X-5000000Y0D02*X5000000D01*%LPC*%D11*X0Y0D03*").unwrap();
    assert_eq!((cut.len(), cut[0].copper.len(), cut[0].mark), (1, 2, Mark::Area));
    // Clear on nothing, and dark again in a block that is put down clear.
    assert!(drawn("%LPC*%X0Y0D03*").unwrap().is_empty());
    let turned = drawn("%ABD20*%%LPC*%X0Y0D03*%AB*%%LPC*%D20*X0Y0D03*").unwrap();
    assert!(area(0.0, 0.0, &turned));
}

#[test]
fn hostile_files_are_refused() {
    let deep = "%ABD20*%".repeat(20);
    let doubling: String =
        (20..40).map(|n| format!("%ABD{}*%D{n}*{}%AB*%", n + 1, "X0Y0D03*".repeat(4))).collect();
    let doubling = format!("%ABD20*%X0Y0D03*%AB*%{doubling}");
    let full = "%SRX300Y300I1J1*%X0Y0D03*%SR*%".repeat(6);
    let long = format!("%TO.N,{}*%", "x".repeat(2000));
    let costly: String = (10..2000).map(|n| format!("%ADD{n}sum*%")).collect();
    let costly = format!("%AMsum*$1=0{}*%{costly}", "+1".repeat(50_000));
    for (body, wanted) in [
        ("%SRX1000000Y1000000I1J1*%X0Y0D03*%SR*%", "no board has more than"),
        ("%SRX4294967296Y1I1J1*%", "is none"),
        ("%SRX0Y1I1J1*%", "is none"),
        (full.as_str(), "blocks and repeats come to more than"),
        (deep.as_str(), "deep in each other"),
        (doubling.as_str(), "blocks and repeats come to more than"),
        ("X999999999999999Y0D03*", "more than any board has"),
        ("%SRX100000Y1I9000J0*%X0Y0D03*%SR*%", "more than any board has"),
        ("%ADD12P,1X40*%", "3 to 12 corners"),
        ("D99*", "aperture D99 is not defined"),
        ("%AB*%", "none was begun"),
        ("%ABD20*%", "a block is not closed"),
        ("G36*X0Y0D02*X1D01*", "the last region is not closed"),
        ("G37*", "none was begun"),
        ("G36*X0Y0D03*G37*", "within a region"),
        ("%IPNEG*%", "changes the whole image"),
        ("%LPX*%", "not known"),
        ("G91*", "relative"),
        ("%ABD20*%X0Y0D03*%AB*%D20*X0Y0D02*X1D01*", "drawn with a block"),
        ("X0Y0*", "before the first D01"),
        (long.as_str(), "an attribute has more than"),
        (costly.as_str(), "blocks and repeats come to more than"),
        ("%AMm*1,1,1,0,0*1,1,1,1,1*%%ADD30m*%D30*X0Y0D02*X5Y5D01*", "composed aperture"),
    ] {
        let error = drawn(body).unwrap_err();
        assert!(error.contains(wanted), "{body:.60}: {error}");
    }
    for (text, wanted) in [
        ("%ADD10C,1*%M02*", "does not state its unit"),
        ("%MOMM*%X0Y0D02*M02*", "before its format"),
        ("%FSLAX46Y46", "lacks its second %"),
        ("%FSLAX46Y46%M02*", "lacks its *"),
        ("X0Y0%MOMM*%", "does not end with *"),
        ("%MOMM*%", "before its end mark"),
    ] {
        let error = plot::read(text, &mut Budget::new()).map(|_| ()).unwrap_err();
        assert!(error.what.contains(wanted), "{text}: {}", error.what);
    }
}

/// A character left out or put in anywhere: never a panic, whatever comes of it.
#[test]
fn no_damage_makes_it_panic() {
    for (name, text) in [("front", FRONT), ("edge", EDGE), ("drill", DRILL)] {
        for at in 0..text.len() {
            let put = ["", "*", "%", "-", "9999999999", "X", "$", "é", "D03*", "G36*"][at % 10];
            let _ = set(&[(name, &format!("{}{put}{}", &text[..at], &text[at + 1..]))]);
        }
    }
}
