//! Attributes: what files, apertures and objects say of themselves (`TF`, `TA`, `TO`, `TD`; from memory of the Gerber layer format
//! specification of Ucamco, section 5).

use std::collections::BTreeMap;
use std::rc::Rc;

/// Attributes by name, such as `.N`, with their fields.
type Dictionary = BTreeMap<String, Vec<String>>;

/// Attributes as they stand while a file is read.
#[derive(Default)]
pub struct Attributes {
    file: Dictionary,
    aperture: Dictionary,
    object: Dictionary,
    tags: Option<Rc<Tags>>,
}

/// What an object says of itself.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Tags {
    /// Nets (`.N`): one, unless the object joins several.
    pub nets: Vec<String>,
    /// Part and pin (`.P`).
    pub pin: Option<[String; 2]>,
    /// Part (`.C`, and of a pin `.P`).
    pub part: Option<String>,
    /// Its value (`.CVal`).
    pub value: Option<String>,
    /// What it is for (`.AperFunction`), such as `ViaPad`.
    pub function: Function,
}

/// What an aperture is for: the fields of `.AperFunction`.
pub type Function = Rc<[String]>;

/// The net of pins that are joined to nothing, and no name for it.
const NO_NET: [&str; 2] = ["", "N/C"];

impl Attributes {
    /// Takes an attribute command; `false` if it is none.
    pub fn take(&mut self, word: &str) -> bool {
        let Some((kind, rest)) = word.split_at_checked(2) else { return false };
        let mut fields = rest.split(',').map(|field| plain(field.trim()));
        let name = fields.next().unwrap_or_default();
        let fields = fields.collect();
        match kind {
            "TF" => drop(self.file.insert(name, fields)),
            "TA" => drop(self.aperture.insert(name, fields)),
            "TO" => drop(self.object.insert(name, fields)),
            "TD" if name.is_empty() => {
                self.aperture.clear();
                self.object.clear();
            }
            "TD" => {
                self.aperture.remove(&name);
                self.object.remove(&name);
            }
            _ => return false,
        }
        self.tags = None;
        true
    }

    /// Fields of an attribute of the file.
    pub fn of_file(&self, name: &str) -> &[String] {
        self.file.get(name).map_or(&[], Vec::as_slice)
    }

    /// What apertures that are defined now, and regions that are drawn now, are for.
    pub fn function(&self) -> Function {
        self.aperture.get(".AperFunction").cloned().unwrap_or_default().into()
    }

    /// What an object with an aperture of this function says of itself.
    pub fn tags(&mut self, function: &Function) -> Rc<Tags> {
        if let Some(tags) = self.tags.as_ref().filter(|tags| tags.function == *function) {
            return Rc::clone(tags);
        }
        let first = |name: &str| self.object.get(name)?.first().filter(|text| !text.is_empty()).cloned();
        let pin = self.object.get(".P").and_then(|fields| match fields.as_slice() {
            [part, pin, ..] if !part.is_empty() => Some([part.clone(), pin.clone()]),
            [part] if !part.is_empty() => Some([part.clone(), String::new()]),
            _ => None,
        });
        let nets = self.object.get(".N").into_iter().flatten();
        let tags = Rc::new(Tags {
            nets: nets.filter(|net| !NO_NET.contains(&net.as_str())).cloned().collect(),
            part: first(".C").or_else(|| first(".CRef")),
            value: first(".CVal"),
            pin,
            function: Rc::clone(function),
        });
        self.tags = Some(Rc::clone(&tags));
        tags
    }
}

impl Tags {
    /// Is it for this?
    pub fn is_for(&self, function: &str) -> bool {
        self.function.first().is_some_and(|first| first == function)
    }
}

/// A field with its escapes resolved: `\u` and four hexadecimal digits are a character.
fn plain(field: &str) -> String {
    let mut parts = field.split("\\u");
    let mut text = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let split = part.split_at_checked(4);
        let found =
            split.and_then(|(hex, rest)| Some((char::from_u32(u32::from_str_radix(hex, 16).ok()?)?, rest)));
        match found {
            Some((letter, rest)) => {
                text.push(letter);
                text.push_str(rest);
            }
            None => {
                text.push_str("\\u");
                text.push_str(part);
            }
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn objects_carry_what_stands_when_they_are_made() {
        let mut attributes = Attributes::default();
        let none: Function = [].into();
        assert!(attributes.take("TFFileFunction,x") && !attributes.take("LPD") && !attributes.take("T"));
        for word in [
            "TF.FileFunction,Copper,L1,Top",
            "TA.AperFunction,ComponentPad",
            "TO.N,/A\\u002CB",
            "TO.P,J1,2,plus",
        ] {
            assert!(attributes.take(word));
        }
        assert_eq!(attributes.of_file(".FileFunction"), ["Copper", "L1", "Top"]);
        let function = attributes.function();
        let tags = attributes.tags(&function);
        assert!(tags.is_for("ComponentPad"));
        assert_eq!(
            (tags.nets.as_slice(), &tags.pin),
            (&["/A,B".to_owned()][..], &Some(["J1".into(), "2".into()]))
        );
        attributes.take("TD.P");
        assert_eq!((attributes.tags(&none).pin.is_none(), attributes.tags(&none).nets.len()), (true, 1));
        attributes.take("TO.N,N/C");
        assert!(attributes.tags(&none).nets.is_empty());
        attributes.take("TD");
        assert_eq!((*attributes.tags(&none)).clone(), Tags::default());
    }
}
