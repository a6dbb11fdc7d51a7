//! Promises of reading tyre size designations.

use proptest::prelude::*;
use wheelwitness_driveline::tyre::{Construction, Section, Service, Size};

fn size(text: &str) -> Size {
    text.parse().unwrap_or_else(|e| panic!("{text}: {e}"))
}

/// Ways to write a size, and the outer diameter of UN R30 para 6.1.2 (from memory).
const WRITTEN: &[(&str, u32, Service, Construction)] = &[
    ("265/70R16", 778, Service::Passenger, Construction::Radial),
    ("265/70 R16", 778, Service::Passenger, Construction::Radial),
    ("265/70R16 112T", 778, Service::Passenger, Construction::Radial),
    ("LT265/70R16 121/118S", 778, Service::LightTruck, Construction::Radial),
    ("LT 265/70 R 16", 778, Service::LightTruck, Construction::Radial),
    ("265/70R16LT", 778, Service::LightTruck, Construction::Radial),
    ("P235/75R15", 733, Service::Passenger, Construction::Radial),
    ("p235/75r15", 733, Service::Passenger, Construction::Radial),
    ("205/65R16C", 672, Service::Commercial, Construction::Radial),
    ("205/65R16C 107/105T", 672, Service::Commercial, Construction::Radial),
    ("225/45ZR17 91W", 634, Service::Passenger, Construction::Radial),
    ("225/45ZRF17", 634, Service::Passenger, Construction::Radial),
    ("225/45RF17", 634, Service::Passenger, Construction::Radial),
    ("225/45ZR17 (91Y)", 634, Service::Passenger, Construction::Radial),
    ("235/75-15", 733, Service::Passenger, Construction::Diagonal),
    ("235/75D15", 733, Service::Passenger, Construction::Diagonal),
    ("235/75B15", 733, Service::Passenger, Construction::Diagonal),
    ("245/70R19.5", 839, Service::Passenger, Construction::Radial),
    ("31x10.50R15", 775, Service::LightTruck, Construction::Radial),
    ("31X10.50R15LT", 775, Service::LightTruck, Construction::Radial),
    ("31\u{d7}10.5 R15", 775, Service::LightTruck, Construction::Radial),
    ("31x10.50-15", 775, Service::LightTruck, Construction::Diagonal),
];

#[test]
fn every_usual_way_to_write_a_size_is_read() {
    for (text, outer, service, construction) in WRITTEN {
        let s = size(text);
        let read = (s.outer_diameter_mm(), s.service(), s.construction());
        assert_eq!(read, (*outer, *service, *construction), "{text}");
    }
}

#[test]
fn the_parts_of_a_size_are_kept_as_written() {
    let (width_mm, aspect_percent) = (265, 70);
    assert_eq!(size("265/70R16").section(), Section::Metric { width_mm, aspect_percent });
    let (diameter_in, width_in) = (31.0, 10.5);
    assert_eq!(size("31x10.50R15").section(), Section::Flotation { diameter_in, width_in });
    assert_eq!(size("245/70R19.5").rim_code(), 19.5);
    assert_eq!(size("265/70R16").section_height_mm(), 186.0);
}

/// Texts that are no size to compute with, and what the complaint advises.
const REFUSED: &[(&str, &str)] = &[
    ("", "write it as on the side wall"),
    ("big ones", "write it as on the side wall"),
    ("265", "write it as on the side wall"),
    ("265/70R16 extra!", "write it as on the side wall"),
    ("265/70RR16", "write it as on the side wall"),
    ("265/70 16", "write 265/70R16"),
    ("265/70/16", "write 265/70R16"),
    ("7.50R16", "measure a roll-out"),
    ("185R14", "measure a roll-out"),
    ("70/265R16", "check the order"),
    ("265/170R16", "check the order"),
    ("265/7R16", "check the order"),
    ("265/70R27", "no rim of code 27"),
    ("265/70R1.6", "no rim of code 1.6"),
    ("37x12.50R17", "measure a roll-out"),
    ("31x11.50R15", "measure a roll-out"),
];

#[test]
fn what_is_no_size_is_refused_with_what_to_write_instead() {
    for (text, advice) in REFUSED {
        let complaint = text.parse::<Size>().expect_err(text).to_string();
        assert!(complaint.contains(advice), "`{text}`: {complaint}");
        assert!(complaint.contains(&format!("`{text}`")), "{complaint}");
    }
}

#[test]
fn diagonal_tyres_roll_a_little_less_far_than_radial_ones() {
    // ETRTO manual, from memory: 2.99 against 3.05.
    let ratio =
        size("235/75-15").rolling_circumference_mm() / size("235/75R15").rolling_circumference_mm();
    assert!((ratio - 2.99 / 3.05).abs() < 1e-12);
}

proptest! {
    #[test]
    fn no_text_makes_the_reader_panic(text in "\\PC{0,24}") {
        let _ = text.parse::<Size>();
    }

    #[test]
    fn nearly_a_size_never_makes_the_reader_panic(
        text in "(LT|P|)[0-9.,]{0,5}[/x ]?[0-9.]{0,6} ?(R|ZR|D|-|)[0-9.]{0,5}(C|LT| 99T|)"
    ) {
        let _ = text.parse::<Size>();
    }

    #[test]
    fn the_outer_diameter_is_within_a_millimetre_and_a_half_of_exact_inches(
        width in (21u32..91).prop_map(|w| w * 5), aspect in (5u32..17).prop_map(|a| a * 5),
        rim in 12u32..23,
    ) {
        // Rounding H twice over (1 mm) and the rim to whole millimetres (0.5 mm).
        let outer = size(&format!("{width}/{aspect}R{rim}")).outer_diameter_mm();
        let exact = f64::from(rim) * 25.4 + f64::from(width * aspect) / 50.0;
        prop_assert!((f64::from(outer) - exact).abs() <= 1.5);
    }
}
