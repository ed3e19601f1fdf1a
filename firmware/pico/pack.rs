//! Packs the firmware's ELF file into UF2, and weighs it.
//!
//! UF2 is a row of 512-byte blocks that the Pico's boot ROM takes from a USB drive in any order; each carries
//! 256 bytes and says where they belong (UF2 specification, "File Format"; the RP2040's family number is in the
//! same specification's list and in the RP2040 data sheet, "USB Mass Storage Interface").

use std::{collections::BTreeMap, env, error::Error, fs, ops::Range, process::ExitCode};

/// What the firmware may take, bytes.
const FLASH_BUDGET: usize = 128 * 1024;
const RAM_BUDGET: usize = 64 * 1024;

const FLASH: Range<u32> = 0x1000_0000..0x1100_0000;
const RAM: Range<u32> = 0x2000_0000..0x2004_2000;

const MAGIC_START: [u32; 2] = [0x0A32_4655, 0x9E5D_5157];
const MAGIC_END: u32 = 0x0AB1_6F30;
const FAMILY_PRESENT: u32 = 0x0000_2000;
const FAMILY_RP2040: u32 = 0xE48B_FF56;
/// Bytes in a block. The boot ROM takes 256 on 256-byte boundaries and nothing else.
const PAYLOAD: usize = 256;

/// A loadable part of an ELF file.
struct Segment {
    /// Where it is used.
    runs_at: u32,
    /// Where it is kept in flash.
    kept_at: u32,
    /// Bytes in the file.
    bytes: Vec<u8>,
    /// Bytes in memory; the rest is zeroed.
    memory: usize,
}

fn main() -> ExitCode {
    let arguments: Vec<String> = env::args().skip(1).collect();
    let [elf, uf2] = arguments.as_slice() else {
        eprintln!("usage: pack IN.elf OUT.uf2");
        return ExitCode::from(2);
    };
    match pack(elf, uf2) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("pack: {elf}: {error}");
            ExitCode::FAILURE
        }
    }
}

fn pack(elf: &str, uf2: &str) -> Result<(), Box<dyn Error>> {
    let segments = segments(&fs::read(elf)?).ok_or("not a 32-bit little-endian ELF file")?;
    let flash: usize = segments.iter().map(|segment| segment.bytes.len()).sum();
    let ram: usize = segments.iter().filter(|s| RAM.contains(&s.runs_at)).map(|s| s.memory).sum();
    println!("flash {flash} of {FLASH_BUDGET} bytes, static RAM {ram} of {RAM_BUDGET} bytes");
    if flash > FLASH_BUDGET || ram > RAM_BUDGET {
        return Err("the firmware has outgrown its budget".into());
    }
    let fresh = format!("{uf2}.new");
    fs::write(&fresh, blocks(&pages(&segments)))?;
    fs::rename(&fresh, uf2)?;
    Ok(())
}

/// The loadable segments of an ELF file (System V ABI, "Program Header", 32-bit little-endian).
fn segments(elf: &[u8]) -> Option<Vec<Segment>> {
    let half = |at: usize| Some(u16::from_le_bytes(elf.get(at..at + 2)?.try_into().ok()?));
    let word = |at: usize| Some(u32::from_le_bytes(elf.get(at..at + 4)?.try_into().ok()?));
    const CLASS_32_LITTLE: &[u8] = &[0x7F, b'E', b'L', b'F', 1, 1];
    const LOAD: u32 = 1;
    elf.starts_with(CLASS_32_LITTLE).then_some(())?;
    let (table, size, count) = (word(28)? as usize, half(42)? as usize, half(44)? as usize);
    let mut segments = Vec::new();
    for header in (0..count).map(|index| table + index * size) {
        let (kind, offset, length) = (word(header)?, word(header + 4)? as usize, word(header + 16)? as usize);
        let (runs_at, kept_at, memory) = (word(header + 8)?, word(header + 12)?, word(header + 20)? as usize);
        if kind == LOAD && memory > 0 {
            segments.push(Segment {
                runs_at,
                kept_at,
                bytes: elf.get(offset..offset + length)?.to_vec(),
                memory,
            });
        }
    }
    Some(segments)
}

/// Flash contents in pages of one block each; gaps inside a page are zero.
fn pages(segments: &[Segment]) -> BTreeMap<u32, [u8; PAYLOAD]> {
    let mut pages = BTreeMap::new();
    for segment in segments.iter().filter(|segment| FLASH.contains(&segment.kept_at)) {
        for (address, byte) in (segment.kept_at..).zip(&segment.bytes) {
            let within = address as usize % PAYLOAD;
            pages.entry(address - within as u32).or_insert([0; PAYLOAD])[within] = *byte;
        }
    }
    pages
}

/// The blocks of the UF2 file.
fn blocks(pages: &BTreeMap<u32, [u8; PAYLOAD]>) -> Vec<u8> {
    let total = pages.len() as u32;
    let mut file = Vec::new();
    for (number, (address, page)) in (0..).zip(pages) {
        let header = [FAMILY_PRESENT, *address, PAYLOAD as u32, number, total, FAMILY_RP2040];
        let mut block: Vec<u8> =
            MAGIC_START.iter().chain(&header).flat_map(|word| word.to_le_bytes()).collect();
        block.extend(page);
        block.resize(512 - 4, 0);
        block.extend(MAGIC_END.to_le_bytes());
        file.extend(block);
    }
    file
}
