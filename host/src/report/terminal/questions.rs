//! Questions that an imported layout leaves open, on a terminal.

use super::Screen;
use super::layout::paragraph;

/// The questions, numbered as in the board file.
pub fn questions(questions: &[String], screen: Screen) -> String {
    let mut out =
        String::from("\nQuestions that the layout leaves open; they stand at the end of the file too:\n");
    for (i, question) in questions.iter().enumerate() {
        paragraph(&mut out, &format!("{:>2}. ", i + 1), question, screen.width);
    }
    out
}
