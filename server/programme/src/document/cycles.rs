//! Points that wait for themselves, by way of others.

use std::collections::{HashMap, HashSet};

use crate::codes::PointCode;

/// Finds cycles: each as the codes on it, beginning with the one that stands first in `order`.
///
/// `order` names all points, and `after` gives the points that each waits for. Each point is on at most one of the
/// cycles told; where cycles share points the others are seen once the first is mended.
pub(super) fn cycles<'p>(
    order: &[&'p PointCode],
    after: &HashMap<&'p PointCode, &'p [PointCode]>,
) -> Vec<Vec<&'p PointCode>> {
    let waits_for =
        |code: &PointCode| -> &'p [PointCode] { after.get(code).copied().unwrap_or(&[]) };
    let mut done: HashSet<&PointCode> = HashSet::new();
    let mut found = Vec::new();
    for start in order {
        // A walk along what each point waits for, without recursion: a ladder can be 20,000 rungs high.
        let mut walk: Vec<(&'p PointCode, usize)> = vec![(start, 0)];
        let mut on_walk: HashSet<&PointCode> = HashSet::from([*start]);
        if done.contains(start) {
            continue;
        }
        while let Some((code, next)) = walk.last_mut() {
            let Some(before) = waits_for(code).get(*next) else {
                done.insert(code);
                on_walk.remove(code);
                walk.pop();
                continue;
            };
            *next += 1;
            if on_walk.contains(before) && !done.contains(before) && !done.contains(*code) {
                let from = walk.iter().position(|(code, _)| *code == before).unwrap_or(0);
                let cycle: Vec<_> = walk[from..].iter().map(|(code, _)| *code).collect();
                if !cycle.iter().any(|code| done.contains(code)) {
                    done.extend(cycle.iter().copied());
                    found.push(cycle);
                }
            } else if !done.contains(before) && after.contains_key(before) {
                on_walk.insert(before);
                walk.push((before, 0));
            }
        }
    }
    let place: HashMap<_, _> =
        order.iter().enumerate().map(|(place, code)| (*code, place)).collect();
    for cycle in &mut found {
        let first = cycle.iter().enumerate().min_by_key(|(_, code)| place.get(*code).copied());
        if let Some((first, _)) = first {
            cycle.rotate_left(first);
        }
    }
    found
}

/// "A → B → A": each waits for the next.
pub(super) fn told(cycle: &[&PointCode]) -> String {
    let codes: Vec<_> = cycle.iter().chain(cycle.first()).map(|code| code.as_str()).collect();
    codes.join(" → ")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn found(points: &[(&str, &[&str])]) -> Vec<String> {
        let code = |text: &&str| PointCode::new(text).unwrap();
        let points: Vec<(PointCode, Vec<PointCode>)> =
            points.iter().map(|(a, b)| (code(a), b.iter().map(code).collect())).collect();
        let order: Vec<_> = points.iter().map(|(code, _)| code).collect();
        let after = points.iter().map(|(code, before)| (code, before.as_slice())).collect();
        cycles(&order, &after).iter().map(|cycle| told(cycle)).collect()
    }

    #[test]
    fn a_cycle_is_told_by_its_path_from_the_point_that_stands_first() {
        let ladder: &[(&str, &[&str])] =
            &[("A", &["B"]), ("B", &["C"]), ("C", &["A"]), ("D", &["A"])];
        assert_eq!(found(ladder), ["A → B → C → A"]);
    }

    #[test]
    fn a_point_that_waits_for_itself_is_a_cycle_and_a_shared_prerequisite_is_none() {
        let ladder: &[(&str, &[&str])] =
            &[("A", &[]), ("B", &["A"]), ("C", &["A", "B"]), ("D", &["B", "C", "D"])];
        assert_eq!(found(ladder), ["D → D"]);
    }

    #[test]
    fn cycles_apart_from_each_other_are_all_told() {
        let ladder: &[(&str, &[&str])] =
            &[("A", &["B"]), ("B", &["A"]), ("C", &["A", "D"]), ("D", &["C"])];
        assert_eq!(found(ladder), ["A → B → A", "C → D → C"]);
    }

    #[test]
    fn a_ladder_of_twenty_thousand_rungs_that_closes_on_itself_is_walked() {
        let codes: Vec<PointCode> =
            (0..20_000).map(|n| PointCode::new(&format!("P{n}")).unwrap()).collect();
        let before: Vec<Vec<PointCode>> =
            (0..codes.len()).map(|n| vec![codes[(n + 1) % codes.len()].clone()]).collect();
        let order: Vec<_> = codes.iter().collect();
        let after = codes.iter().zip(before.iter().map(Vec::as_slice)).collect();
        assert_eq!(cycles(&order, &after)[0].len(), 20_000);
    }
}
