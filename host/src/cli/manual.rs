//! Manual pages, made from the same description of the arguments as the help.

use std::io;

use clap::Command;
use clap_mangen::{
    Man,
    roff::{Roff, bold, roman},
};

/// The page of each command and of the commands under it, by file name.
pub fn pages(program: &Command) -> io::Result<Vec<(String, Vec<u8>)>> {
    let mut program = program.clone().disable_help_subcommand(true);
    // Pages of subcommands are named after the whole command.
    program.build();
    let mut pages = Vec::new();
    collect(&program, &mut pages)?;
    Ok(pages)
}

fn collect(command: &Command, pages: &mut Vec<(String, Vec<u8>)>) -> io::Result<()> {
    let name = command.get_display_name().unwrap_or(command.get_name());
    pages.push((format!("{name}.1"), page(command)?));
    command.get_subcommands().try_for_each(|command| collect(command, pages))
}

fn page(command: &Command) -> io::Result<Vec<u8>> {
    let man = Man::new(command.clone())
        .source(concat!("copperwalk ", env!("CARGO_PKG_VERSION")))
        .manual("Copperwalk manual");
    let mut text = Vec::new();
    man.render_title(&mut text)?;
    man.render_name_section(&mut text)?;
    synopsis(command).to_writer(&mut text)?;
    man.render_description_section(&mut text)?;
    man.render_options_section(&mut text)?;
    if command.has_subcommands() {
        man.render_subcommands_section(&mut text)?;
    }
    if let Some(more) = command.get_after_long_help() {
        sections(&more.to_string()).to_writer(&mut text)?;
    }
    Ok(text)
}

/// As the help has it, with the names of values.
fn synopsis(command: &Command) -> Roff {
    let usage = command.clone().render_usage().to_string();
    let usage = usage.trim_start_matches("Usage:").split_whitespace().collect::<Vec<_>>().join(" ");
    let mut section = Roff::new();
    section.control("SH", ["SYNOPSIS"]).text([roman(usage)]);
    section
}

/// What follows the options: headings stand at the margin, a row that begins with a digit explains that number.
fn sections(text: &str) -> Roff {
    let mut page = Roff::new();
    for line in text.lines().filter(|line| !line.is_empty()) {
        let row = line.trim_start();
        match row.split_once(' ').filter(|(number, _)| number.parse::<u8>().is_ok()) {
            _ if row.len() == line.len() => page.control("SH", [row]),
            Some((number, meaning)) => {
                page.control("TP", []).text([bold(number)]).text([roman(meaning.trim_start())])
            }
            None => page.text([roman(row)]),
        };
    }
    page
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn every_command_has_a_page_with_what_it_takes_and_what_its_status_means() {
        let pages = pages(&crate::cli::Args::command()).unwrap();
        let page = |name: &str| {
            let (_, text) =
                pages.iter().find(|(page, _)| page == name).unwrap_or_else(|| panic!("no {name}"));
            String::from_utf8(text.clone()).unwrap()
        };
        assert!(page("copperwalk-records-save.1").contains("copperwalk records save [OPTIONS] <FILE>"));
        let main = page("copperwalk.1");
        assert!(main.contains(".SH \"EXIT STATUS\"\n.TP\n\\fB0\\fR\nevery unit passed"), "{main}");
        for (name, text) in &pages {
            // Each page that one leads to is there.
            let text = String::from_utf8(text.clone()).unwrap();
            for line in text.lines().filter(|line| line.starts_with("copperwalk\\-") && line.ends_with("(1)"))
            {
                let other = line.replace('\\', "").replace("(1)", ".1");
                assert!(pages.iter().any(|(page, _)| *page == other), "{name} names {other}");
            }
        }
    }
}
