//! The picture of one phase: a box a point, in columns by how many points of the phase come before it.

use std::collections::HashMap;

use maud::{Markup, html};

use super::Step;
use crate::api::points::PointState;
use crate::pages::words::{counted, mark_of_symbol, word_of_state};

/// Width and height of a box, and the room between boxes, in the picture's own units.
const WIDTH: usize = 208;
const HEIGHT: usize = 78;
const ACROSS: usize = 36;
const DOWN: usize = 14;
/// So much of a title fits into a box.
const TITLE: usize = 24;

/// Where a point has its box.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Cell {
    column: usize,
    row: usize,
}

impl Cell {
    const fn x(self) -> usize {
        2 + self.column * (WIDTH + ACROSS)
    }

    const fn y(self) -> usize {
        2 + self.row * (HEIGHT + DOWN)
    }
}

/// Gives each point its box: its column is one more than the furthest of those it waits for, and in a column it stands as
/// near as it can to the row of the first of them, so that a chain runs straight.
fn cells(steps: &[&Step]) -> Vec<Cell> {
    let places: HashMap<_, _> = steps.iter().enumerate().map(|(at, it)| (&it.code, at)).collect();
    let before: Vec<Vec<usize>> = steps
        .iter()
        .map(|step| step.after.iter().filter_map(|code| places.get(code).copied()).collect())
        .collect();
    let mut columns = vec![0; steps.len()];
    // Points may stand in any order, and no point waits for itself: as many rounds as points are enough.
    for _ in 0..steps.len() {
        let mut moved = false;
        for (at, before) in before.iter().enumerate() {
            let least = before.iter().map(|other| columns[*other] + 1).max().unwrap_or(0);
            if columns[at] < least && least <= steps.len() {
                columns[at] = least;
                moved = true;
            }
        }
        if !moved {
            break;
        }
    }
    let mut cells = vec![Cell { column: 0, row: 0 }; steps.len()];
    let furthest = columns.iter().copied().max().unwrap_or(0);
    for column in 0..=furthest {
        let mut of_column: Vec<(usize, usize)> = (0..steps.len())
            .filter(|at| columns[*at] == column)
            .map(|at| (before[at].iter().map(|other| cells[*other].row).min().unwrap_or(0), at))
            .collect();
        of_column.sort_unstable();
        let mut free = 0;
        for (wished, at) in of_column {
            // Without a wish rows are taken in turn.
            let row = if column == 0 { free } else { wished.max(free) };
            cells[at] = Cell { column, row };
            free = row + 1;
        }
    }
    cells
}

fn shortened(title: &str) -> String {
    if title.chars().count() <= TITLE {
        return title.to_owned();
    }
    let kept: String = title.chars().take(TITLE - 1).collect();
    format!("{}…", kept.trim_end())
}

/// The picture of a phase's points.
pub(super) fn picture(place: &str, steps: &[&Step], phase: &str) -> Markup {
    let cells = cells(steps);
    let columns = cells.iter().map(|cell| cell.column + 1).max().unwrap_or(1);
    let rows = cells.iter().map(|cell| cell.row + 1).max().unwrap_or(1);
    let width = columns * (WIDTH + ACROSS) - ACROSS + 4;
    let height = rows * (HEIGHT + DOWN) - DOWN + 4;
    let places: HashMap<_, _> = steps.iter().enumerate().map(|(at, it)| (&it.code, at)).collect();
    let lines: String = steps
        .iter()
        .enumerate()
        .flat_map(|(at, step)| {
            step.after.iter().filter_map(|code| places.get(code)).map(move |it| (*it, at))
        })
        .map(|(before, at)| line(cells[before], cells[at]))
        .collect();
    html! {
        svg.ladder xmlns="http://www.w3.org/2000/svg" width=(width) height=(height) viewBox={ "0 0 " (width) " " (height) } role="group" aria-label={ "Points of the phase " (phase) " and what each waits for" } {
            @if !lines.is_empty() { path.lines aria-hidden="true" d=(lines) {} }
            @for (at, step) in steps.iter().enumerate() {
                (boxed(place, step, cells[at], &elsewhere(step, &places)))
            }
        }
    }
}

/// The points of other phases that a point waits for.
fn elsewhere(step: &Step, here: &HashMap<&programme::codes::PointCode, usize>) -> String {
    let codes: Vec<_> = step
        .after
        .iter()
        .filter(|code| !here.contains_key(code))
        .map(ToString::to_string)
        .collect();
    codes.join(", ")
}

/// A line from one box to another. From where it begins it is told by how far it goes, so that lines alike read alike and
/// the page weighs less on its way.
fn line(from: Cell, to: Cell) -> String {
    let begins = format!("M{} {}", from.x() + WIDTH, from.y() + HEIGHT / 2);
    let across = to.x().saturating_sub(from.x() + WIDTH);
    if from.row == to.row && across == ACROSS {
        return format!("{begins}h{across}");
    }
    let down = to.y() as i64 - from.y() as i64;
    format!("{begins}c{ACROSS} 0 {} {down} {across} {down}", across.saturating_sub(ACROSS))
}

fn boxed(place: &str, step: &Step, cell: Cell, elsewhere: &str) -> Markup {
    let word = word_of_state(step.state);
    let told = match step.state {
        PointState::Accepted | PointState::Dropped => word.to_owned(),
        PointState::Held
        | PointState::Ready
        | PointState::Released
        | PointState::InRun
        | PointState::AwaitingAcceptance
        | PointState::Lapsed
        | PointState::NotMet => {
            format!("{word} · {}", counted(step.holds, "hold", "holds"))
        }
    };
    let done = matches!(step.state, PointState::Accepted | PointState::Dropped);
    html! {
        a href={ (place) "/points/" (step.code) } {
            g transform={ "translate(" (cell.x()) " " (cell.y()) ")" } {
                rect.box.done[done] width=(WIDTH) height=(HEIGHT) rx="6" {}
                (mark_of_symbol(step.state))
                text.code x="33" y="22" { (step.code) }
                text x="10" y="42" { (shortened(&step.title)) }
                text.small x="10" y="58" { (told) }
                @if !elsewhere.is_empty() { text.small x="10" y="72" { "after " (shortened(elsewhere)) } }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use programme::codes::PointCode;
    use programme::nouns::Phase;

    use super::*;

    fn step(code: &str, after: &[&str]) -> Step {
        Step {
            code: PointCode::new(code).unwrap(),
            title: code.to_owned(),
            phase: Phase::Taxi,
            state: PointState::Held,
            holds: 1,
            after: after.iter().map(|code| PointCode::new(code).unwrap()).collect(),
        }
    }

    #[test]
    fn each_point_stands_behind_all_that_it_waits_for_and_no_two_share_a_box() {
        let steps = [
            step("D", &["B", "C"]),
            step("A", &[]),
            step("B", &["A"]),
            step("C", &["A", "elsewhere"]),
            step("E", &["A"]),
        ];
        let steps: Vec<&Step> = steps.iter().collect();
        let cells = cells(&steps);
        let columns: Vec<_> = cells.iter().map(|cell| cell.column).collect();
        assert_eq!(columns, [2, 0, 1, 1, 1]);
        for (at, cell) in cells.iter().enumerate() {
            assert!(!cells[..at].contains(cell), "{cell:?} is taken twice");
        }
    }
}
