//! The page of one question of a hunt by hand: the side of the board with both tips on it.

use maud::html;

use super::{
    Backdrop, drawing,
    page::{body, head, page, patterns},
};
use crate::{
    board::{Board, PointId},
    by_hand::{Hold, place::Face},
};

/// Where the tips go, drawn; both faces where the board is held on its edge. The page is written anew for every question, and a browser
/// looks for it again by itself when it is loaded anew.
pub fn question(
    board: &Board,
    points: [PointId; 2],
    hold: Hold,
    sentence: &str,
    photos: &Backdrop,
) -> String {
    let faces = match hold {
        Hold::Face(face) => vec![face],
        Hold::Edge => vec![Face::Front, Face::Back],
    };
    let drawn = body(&html! {
        (patterns())
        header { (head("hunt by hand", "Hold the tips here", &html! {})) }
        p class="headline large" { (sentence) }
        div class="sides" { @for face in faces { (drawing::tips(board, points, face, photos)) } }
    });
    page("hunt by hand", &board.name, &drawn)
}
