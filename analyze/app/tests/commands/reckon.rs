//! Promises of `reckon`, by the words it prints and its exit codes.

use std::process::Command;
use wheelwitness::exit;

/// Runs the program with these words; exit code, standard output, standard error.
fn reckon(words: &str) -> (i32, String, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_wheelwitness"))
        .arg("reckon")
        .args(words.split_whitespace())
        .output()
        .expect("the program starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (out.status.code().expect("an exit code"), text(out.stdout), text(out.stderr))
}

/// The printed text of words that are understood.
fn told(words: &str) -> String {
    let (code, text, complaint) = reckon(words);
    assert_eq!(code, exit::DONE, "{words}: {complaint}");
    text
}

/// Numbers of the row that begins with this name.
fn row(text: &str, name: &str) -> Vec<f64> {
    let line = text.lines().find(|l| l.starts_with(name)).unwrap_or_else(|| panic!("{text}"));
    line[name.len()..].split_whitespace().filter_map(|w| w.parse().ok()).collect()
}

#[test]
fn tyres_are_compared_by_their_design_and_not_by_their_name() {
    // Outer diameters: tyre and rim yearbook, from memory.
    let text = told("tyres 235/75R15 265/75R16");
    assert_eq!(row(&text, "outer diameter, mm"), [733.0, 804.0, 71.0, 9.69]);
    assert!(text.contains("100 km/h at 109.7"), "{text}");
    assert!(text.contains("not to be mixed"), "{text}");
    assert!(told("tyres 265/75R16 265/70R17").contains("near enough"));
}

#[test]
fn a_dial_after_larger_tyres_reads_too_low_and_after_the_same_ones_is_allowed() {
    // 733 to 804 mm: at true 80 it shows 72.9 (UN R39 para 5.3: 80 to 92).
    let text = told("dial --tyre-before 235/75R15 --tyre-after 265/75R16");
    assert_eq!(row(&text, "80.0")[..1], [72.9]);
    assert!(text.lines().any(|l| l.starts_with("80.0") && l.ends_with("reads too low")), "{text}");
    let same = told("dial --tyre-before 235/75R15 --axle-before 41:10 --axle-after 4.1");
    assert_eq!(row(&same, "80.0")[..2], [80.0, 0.0]);
    assert!(same.lines().any(|l| l.starts_with("80.0") && l.ends_with("allowed")), "{same}");
}

#[test]
fn a_shorter_axle_undoes_larger_tyres_and_the_pulses_say_by_how_much() {
    let text = told(
        "dial --tyre-before 2000mm --tyre-after 2200mm --axle-before 4.0 --axle-after 4.4 \
         --pulses-per-km 2548",
    );
    assert!(text.contains("set it to 2548.0 pulses"), "{text}");
    let alone = told("dial --tyre-before 2000mm --tyre-after 2200mm --pulses-per-km 2548");
    assert!(alone.contains("set it to 2316.4 pulses"), "{alone}");
}

#[test]
fn a_sender_on_a_shaft_makes_teeth_times_turns_times_ratio() {
    // 16 teeth, 470 turns a mile, 3.73: 28049.6 pulses a mile (workshop rule).
    let text = told("sender --tyre 3424.13mm --pulses 16 --axle-ratio 3.73");
    let per_mile = row(&text, "pulses per mile")[0];
    assert!((per_mile - 28049.6).abs() < 0.2, "{per_mile}");
    let wheel = told("sender --tyre 2000mm --pulses 48 --on wheel");
    assert_eq!(row(&wheel, "pulses per km")[0], 24000.0);
}

#[test]
fn a_tube_whirls_where_the_published_calculation_says() {
    // Public calculation page: 8557 rpm, 6418 at 75 %.
    let text = told("whirl --outer-mm 76.2 --wall-mm 3 --length-mm 1200 --modulus-gpa 200");
    assert_eq!(row(&text, "critical")[0], 8557.0);
    assert_eq!(row(&text, "75 %")[0], 6418.0);
    assert!(text.contains("Caution: A shaft that runs at its critical speed"), "{text}");
    let driven = told(
        "whirl --outer-mm 76.2 --wall-mm 3 --length-mm 1200 --kmh 100 --tyre 265/70R16 \
         --axle-ratio 4.1 --mass-kg 8",
    );
    assert!(driven.contains("turns 2880 rpm") && driven.contains("Balance to order"), "{driven}");
}

#[test]
fn the_order_sheet_of_a_shaft_with_parallel_axes_asks_for_yokes_in_line() {
    let text = told(
        "shaft --run-mm 1000 --fall-mm 100 --case-down 4 --pinion-up 4 --bump-mm 100 --droop-mm \
         100",
    );
    let rest = row(&text, "at rest");
    assert_eq!(rest[0], 1005.0);
    assert_eq!(rest[1], rest[2]);
    assert!(text.contains("Yokes in line with each other"), "{text}");
    // Pythagoras: 1000.0 level, 1019.8 at the lower end.
    assert!(text.contains("Slip in at least 5.0 mm"), "{text}");
    assert!(text.contains("14.8 mm"), "{text}");
    assert!(text.contains("Caution: A shaft that is too long"), "{text}");
}

#[test]
fn a_lone_front_wheel_spins_while_the_dial_stands_and_the_cautions_are_told() {
    let text = told("raised --tyre 265/70R16 --axle-ratio 4.1 --front-share 0.4 --kmh 10");
    let lone = row(&text, "center open, rear stands, one front wheel turns");
    assert_eq!(lone[3..], [50.0, 0.0]);
    assert!(text.contains("rated stands") && text.contains("never judge by the dial"), "{text}");
}

#[test]
fn what_is_not_understood_names_the_option_and_what_to_write() {
    let table = [
        ("tyres 265/70 265/70R16", "write it as on the side wall"),
        ("dial --tyre-before 2373", "--tyre-before"),
        ("dial --tyre-before 2373mm --axle-before 4.1", "--axle-after"),
        ("sender --tyre 2373mm --pulses 8", "--axle-ratio"),
        ("sender --tyre 2373mm --pulses 8 --axle-ratio 4,1", "teeth as in 41:10"),
        ("whirl --outer-mm 76 --wall-mm 40 --length-mm 1200", "--wall-mm"),
        ("whirl --outer-mm 76 --wall-mm 2 --length-mm 120", "--length-mm"),
        ("whirl --outer-mm 76 --wall-mm 2 --length-mm 1200 --kmh 100", "--tyre"),
        ("raised --tyre 2373mm --axle-ratio 4.1 --front-share 1", "--front-share"),
        ("shaft --run-mm 0 --fall-mm 0", "--run-mm"),
    ];
    for (words, expected) in table {
        let (code, text, complaint) = reckon(words);
        assert_eq!((code, text.as_str()), (exit::USAGE, ""), "{words}");
        assert!(complaint.contains(expected), "{words}: {complaint}");
    }
}
