//! Addresses as pictures to point a phone's camera at (ISO/IEC 18004 codes, made by a library).

use qrcode::render::{svg, unicode};
use qrcode::types::QrError;
use qrcode::{EcLevel, QrCode};

/// As text for a terminal, dark on light whatever the terminal's colours are.
///
/// # Errors
///
/// Where the text is too long for any code, at about 2,300 bytes.
pub fn qr_for_terminals(text: &str) -> Result<String, QrError> {
    let code = QrCode::with_error_correction_level(text, EcLevel::M)?;
    // A terminal is light on dark as a rule, and cameras want the other way round.
    Ok(code
        .render::<unicode::Dense1x2>()
        .dark_color(unicode::Dense1x2::Light)
        .light_color(unicode::Dense1x2::Dark)
        .build())
}

/// As an SVG picture without a header, 4 px a module with its quiet zone.
///
/// # Errors
///
/// Where the text is too long for any code, at about 2,300 bytes.
pub(crate) fn qr_as_svg(text: &str) -> Result<String, QrError> {
    let code = QrCode::with_error_correction_level(text, EcLevel::M)?;
    let drawn = code
        .render::<svg::Color<'_>>()
        .module_dimensions(4, 4)
        .dark_color(svg::Color("#000"))
        .light_color(svg::Color("#fff"))
        .build();
    Ok(drawn.find("<svg").map_or(String::new(), |from| drawn[from..].to_owned()))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn an_address_becomes_a_picture_and_what_is_too_long_does_not() {
        assert!(qr_as_svg("https://192.168.7.7:8440").unwrap().starts_with("<svg"));
        assert!(qr_for_terminals("https://192.168.7.7:8440").unwrap().lines().count() > 12);
        assert!(qr_as_svg(&"x".repeat(4_000)).is_err());
    }
}
