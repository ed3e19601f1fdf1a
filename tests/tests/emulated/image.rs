//! What goes onto the microcontroller: its size, its packing, and how it presents itself on the bus.
#![allow(clippy::expect_used, clippy::panic, reason = "a failed expectation is the message")]

use std::{collections::BTreeMap, fs};

use copperwalk::{
    link::{Session, discover},
    virtual_bench::Spec,
};
use copperwalk_tests::{
    boards::example,
    emulator::{
        bench::EmulatedBench,
        firmware::image,
        talk::{answer, collect, start, walk},
    },
};
use copperwalk_wire::{
    FromBench, ToBench,
    hardware::PLAN_CAPACITY,
    message::{Refusal, RunEnd},
};
use nusb::{
    descriptors::{ConfigurationDescriptor, DeviceDescriptor, TransferType},
    transfer::Direction,
};

fn bench() -> Session<EmulatedBench> {
    EmulatedBench::greeted(&example("tide-gauge-head"), &Spec::new(7))
}

fn word(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes(bytes[at..at + 4].try_into().expect("four bytes"))
}

fn half(bytes: &[u8], at: usize) -> usize {
    usize::from(u16::from_le_bytes(bytes[at..at + 2].try_into().expect("two bytes")))
}

/// Flash and RAM with the deepest stack that a plan of the greatest length has needed; RAM is painted before the start.
#[test]
fn the_firmware_keeps_its_budget_with_the_longest_plan() {
    const FLASH: u32 = 128 * 1024;
    const RAM: u32 = 64 * 1024;
    let mut bench = bench();
    let short = walk(&example("tide-gauge-head"), 1);
    let mut plan = vec![short[0]; usize::from(PLAN_CAPACITY)];
    plan[511] = short[1];
    let seq = start(&mut bench, &plan);
    let (gave, end) = collect(&mut bench, seq);
    assert_eq!((end, gave.codes.len()), (RunEnd::Complete, 512));
    // One more is one too many, and is said to be.
    bench.greet().expect("an answer");
    let seq = bench.say(ToBench::Plan { shots: PLAN_CAPACITY + 1 }).expect("the line is there");
    let told = answer(&mut bench, seq);
    assert_eq!(
        (told.seq, told.body),
        (seq, FromBench::Refused(Refusal::PlanTooLong { capacity: PLAN_CAPACITY }))
    );
    let (image, stack) = (image(), bench.transport_mut().stack_used());
    println!(
        "flash {} bytes, RAM {} bytes: {} static and {stack} of stack at the deepest",
        image.flash,
        image.static_ram + stack,
        image.static_ram
    );
    assert!(image.flash <= FLASH && image.static_ram + stack <= RAM);
}

/// The UF2 file carries exactly what the ELF file puts into flash. Block layout as in the UF2 specification ("File Format":
/// 512-byte blocks; magic numbers 0x0A324655, 0x9E5D5157 and 0x0AB16F30; family of the RP2040 0xE48BFF56), from memory.
#[test]
fn the_uf2_file_carries_the_elf_files_flash() {
    let uf2 = fs::read(&image().uf2).expect("the UF2 file");
    let elf = fs::read(&image().elf).expect("the ELF file");
    assert_eq!(uf2.len() % 512, 0);
    let count = (uf2.len() / 512) as u32;
    let mut packed = BTreeMap::new();
    for (number, block) in (0..).zip(uf2.chunks_exact(512)) {
        assert_eq!(
            [word(block, 0), word(block, 4), word(block, 508)],
            [0x0A32_4655, 0x9E5D_5157, 0x0AB1_6F30]
        );
        assert_eq!([word(block, 8), word(block, 28)], [0x2000, 0xE48B_FF56], "family present, and which");
        assert_eq!([word(block, 16), word(block, 20), word(block, 24)], [256, number, count]);
        let address = word(block, 12);
        assert_eq!(address % 256, 0);
        packed.extend((address..).zip(block[32..288].iter().copied()));
    }
    // Program headers: type at 0, file offset 4, physical address 12, file size 16.
    let mut covered = 0;
    for index in 0..half(&elf, 44) {
        let header = word(&elf, 28) as usize + index * half(&elf, 42);
        let (offset, size) = (word(&elf, header + 4) as usize, word(&elf, header + 16) as usize);
        if word(&elf, header) != 1 {
            continue;
        }
        for (address, byte) in (word(&elf, header + 12)..).zip(&elf[offset..offset + size]) {
            assert_eq!(packed.get(&address), Some(byte), "{address:#x}");
            covered += 1;
        }
    }
    assert_eq!(covered, image().flash);
    // The boot ROM checks a CRC-32/MPEG-2 over the first 252 bytes (RP2040 data sheet, 2.8.1.3.1).
    let boot2: Vec<u8> = (0x1000_0000..0x1000_00FC).map(|address| packed[&address]).collect();
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_MPEG_2).checksum(&boot2);
    let stored: Vec<u8> = (0x1000_00FC..0x1000_0100).map(|address| packed[&address]).collect();
    assert_eq!(crc, word(&stored, 0));
}

/// Classes and functional descriptors as in USB CDC 1.2 (table 4, 5.2.3) and its PSTN subclass (5.3), from memory; parsed by
/// a general-purpose USB library.
#[test]
fn it_is_a_cdc_serial_port_to_any_host() {
    let usb = bench().transport().around.usb.clone().expect("found at the start");
    let device = DeviceDescriptor::new(&usb.device).expect("a device descriptor");
    assert_eq!((device.vendor_id(), device.product_id()), discover::USB_ID);
    assert_eq!((device.class(), device.max_packet_size_0(), device.num_configurations()), (0x02, 64, 1));
    assert!(device.serial_number_string_index().is_some());

    let configuration = ConfigurationDescriptor::new(&usb.configuration).expect("a configuration");
    // In units of 2 mA; a host gives 500 mA at most.
    assert!(u32::from(configuration.max_power()) * 2 <= 500);
    let interfaces: Vec<_> = configuration.interface_alt_settings().collect();
    let [control, data] = &interfaces[..] else { panic!("{interfaces:?}") };
    assert_eq!((control.class(), control.subclass()), (0x02, 0x02), "communication, abstract control model");
    assert_eq!(data.class(), 0x0A, "data");
    const FUNCTIONAL: u8 = 0x24;
    let functional = control.descriptors().filter(|descriptor| descriptor.descriptor_type() == FUNCTIONAL);
    let subtypes: Vec<_> = functional.map(|descriptor| descriptor.as_bytes()[2]).collect();
    assert_eq!(subtypes, [0x00, 0x02, 0x06, 0x01], "header, abstract control, union, call management");
    let endpoints: Vec<_> = data
        .endpoints()
        .map(|endpoint| (endpoint.transfer_type(), endpoint.direction(), endpoint.max_packet_size()))
        .collect();
    assert_eq!(
        endpoints,
        [(TransferType::Bulk, Direction::In, 64), (TransferType::Bulk, Direction::Out, 64)]
    );
}
