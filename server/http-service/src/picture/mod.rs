//! Pictures, as SVG that is made here: they need no program that runs in a page and print as they are seen.
//!
//! What is what is told by shape, line and word besides colour. Colours are those of M. Okabe and K. Ito, "Color Universal
//! Design", which people with any kind of colour vision tell apart: common practice, from memory.

mod chart;
mod day;
mod energy;
mod forecast;
mod pair;
mod plot;
mod progress;

pub(crate) use day::{DayPicture, draw_day};
pub(crate) use energy::{EnergyPicture, draw_energy};
pub(crate) use forecast::{ForecastPicture, draw_forecast};
pub(crate) use pair::{PairPicture, Subject, draw, scale};
pub(crate) use plot::Scale;
pub(crate) use progress::{ProgressPicture, draw_progress};

/// What was shown.
const SHOWN: &str = "#0072B2";
/// What bounds.
const BOUNDARY: &str = "#D55E00";
/// Text, axes and points.
const INK: &str = "#111111";
/// Lines that help the eye.
const GRID: &str = "#C8C8C8";

/// Text as it may stand in an element or an attribute.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            // No other control character may stand in XML 1.0.
            control if control.is_control() => safe.push(' '),
            other => safe.push(other),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_that_people_typed_cannot_become_an_element() {
        assert_eq!(
            escaped("<script>\"a\" & b</script>\u{1}"),
            "&lt;script&gt;&quot;a&quot; &amp; b&lt;/script&gt; "
        );
    }
}
