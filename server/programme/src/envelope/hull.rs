//! Convex hulls of loadings, and clipping by them.

/// Places apart by less than this share of their size are one.
const ROUNDING: f64 = 1e-9;

/// Twice the area of the triangle, positive where it turns to the left.
fn turn(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])
}

/// The corners of the convex hull, turning to the left, each once; of places on one line its two ends, of one place that.
/// Places that are not finite are left out.
///
/// # Source
///
/// A. M. Andrew's monotone chain, 1979: common practice, from memory.
pub fn hull(places: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut sorted: Vec<[f64; 2]> =
        places.iter().copied().filter(|place| place.iter().all(|it| it.is_finite())).collect();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    sorted.dedup();
    if sorted.len() < 3 {
        return sorted;
    }
    let chain = |places: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for place in places {
            while let [.., a, b] = chain.as_slice()
                && turn(*a, *b, place) <= 0.0
            {
                chain.pop();
            }
            chain.push(place);
        }
        chain.pop();
        chain
    };
    let mut corners = chain(&mut sorted.iter().copied());
    corners.extend(chain(&mut sorted.iter().rev().copied()));
    corners
}

/// Whether a place lies in a hull as [`hull`] gives it; exactly on an edge is inside. A NaN is outside.
pub fn contains(hull: &[[f64; 2]], place: [f64; 2]) -> bool {
    let scale = |a: [f64; 2], b: [f64; 2]| {
        ((b[0] - a[0]).abs() + (place[0] - a[0]).abs())
            * ((b[1] - a[1]).abs() + (place[1] - a[1]).abs())
    };
    match hull {
        [] => false,
        [only] => {
            let near = |a: f64, b: f64| (a - b).abs() <= ROUNDING * a.abs().max(1.0);
            near(only[0], place[0]) && near(only[1], place[1])
        }
        [a, b] => {
            let between = |i: usize| {
                let slack = ROUNDING * a[i].abs().max(1.0);
                (a[i].min(b[i]) - slack..=a[i].max(b[i]) + slack).contains(&place[i])
            };
            turn(*a, *b, place).abs() <= ROUNDING * scale(*a, *b).max(1.0)
                && between(0)
                && between(1)
        }
        corners => {
            let next = corners.iter().cycle().skip(1);
            corners
                .iter()
                .zip(next)
                .all(|(a, b)| turn(*a, *b, place) >= -ROUNDING * scale(*a, *b).max(1.0))
        }
    }
}

/// A polygon cut down to what lies in a convex hull of three corners or more.
///
/// # Source
///
/// I. E. Sutherland and G. W. Hodgman, 1974: common practice, from memory.
pub fn clip(polygon: &[[f64; 2]], hull: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut kept = polygon.to_vec();
    let next = hull.iter().cycle().skip(1);
    for (a, b) in hull.iter().zip(next) {
        let mut inside = Vec::with_capacity(kept.len() + 1);
        for (place, from) in kept.iter().enumerate() {
            let to = &kept[(place + 1) % kept.len()];
            let (at_from, at_to) = (turn(*a, *b, *from), turn(*a, *b, *to));
            if at_from >= 0.0 {
                inside.push(*from);
            }
            if (at_from > 0.0 && at_to < 0.0) || (at_from < 0.0 && at_to > 0.0) {
                let share = at_from / (at_from - at_to);
                inside.push([0, 1].map(|i| from[i] + share * (to[i] - from[i])));
            }
        }
        kept = inside;
        if kept.is_empty() {
            break;
        }
    }
    kept.dedup();
    kept
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_hull_of_a_square_with_a_place_inside_and_one_on_an_edge_is_its_four_corners() {
        let places = [[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0], [1.0, 2.0], [2.0, 0.0]];
        let hull = hull(&places);
        assert_eq!(hull, [[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]]);
        for (place, inside) in [
            ([2.0, 2.0], true),
            ([4.0, 2.0], true),
            ([4.0, 4.0], true),
            ([4.001, 2.0], false),
            ([f64::NAN, 2.0], false),
        ] {
            assert_eq!(contains(&hull, place), inside, "{place:?}");
        }
    }

    #[test]
    fn one_loading_shows_itself_and_two_show_what_lies_between() {
        assert!(contains(&hull(&[[24.0, 690.0]]), [24.0, 690.0]));
        assert!(!contains(&hull(&[[24.0, 690.0]]), [24.0, 691.0]));
        let two = hull(&[[24.0, 690.0], [26.0, 730.0], [24.0, 690.0]]);
        assert!(contains(&two, [25.0, 710.0]));
        assert!(!contains(&two, [25.0, 711.0]) && !contains(&two, [27.0, 750.0]));
        assert!(!contains(&hull(&[]), [24.0, 690.0]));
    }

    #[test]
    fn a_polygon_is_cut_down_to_the_hull() {
        // The unit square cut by the triangle below its falling diagonal.
        let square = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]];
        let triangle = hull(&[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]);
        assert_eq!(clip(&square, &triangle), [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]);
        let apart = hull(&[[5.0, 5.0], [6.0, 5.0], [5.0, 6.0]]);
        assert!(clip(&square, &apart).is_empty());
    }

    proptest! {
        #[test]
        fn every_place_is_in_the_hull_of_all_and_another_place_never_shrinks_it(
            places in proptest::collection::vec((-50.0..50.0, 400.0..900.0), 1..40),
            another in (-50.0..50.0, 400.0..900.0),
            probe in (-50.0..50.0, 400.0..900.0),
        ) {
            let mut places: Vec<[f64; 2]> = places.into_iter().map(|(x, y)| [x, y]).collect();
            let before = hull(&places);
            for place in &places {
                prop_assert!(contains(&before, *place));
            }
            places.push([another.0, another.1]);
            let after = hull(&places);
            let probe = [probe.0, probe.1];
            prop_assert!(!contains(&before, probe) || contains(&after, probe));
        }
    }
}
