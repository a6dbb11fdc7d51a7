//! Figures: whole, legible, honest about gaps, and the same bytes for the same series.

use crate::fixture;
use roxmltree::Document;
use wheelwitness_analyze::report::plots::{Figure, plots};
use wheelwitness_analyze::series::Series;

fn figure(figures: Vec<Figure>, name: &str) -> Figure {
    figures.into_iter().find(|f| f.name == name).unwrap_or_else(|| panic!("no figure {name}"))
}

/// Texts of a figure with the place of their anchor.
fn texts(svg: &str) -> Vec<(String, f64, f64)> {
    let document = Document::parse(svg).expect("well-formed");
    let number = |n: roxmltree::Node, a| n.attribute(a).unwrap().parse::<f64>().unwrap();
    let texts = document.descendants().filter(|n| n.has_tag_name("text"));
    texts
        .map(|n| (n.text().unwrap_or("").trim().to_string(), number(n, "x"), number(n, "y")))
        .collect()
}

/// Lines in a colour: the points of each polyline.
fn lines_in(svg: &str, colour: &str) -> Vec<Vec<(f64, f64)>> {
    let document = Document::parse(svg).expect("well-formed");
    let lines = document
        .descendants()
        .filter(|n| n.has_tag_name("polyline") && n.attribute("stroke") == Some(colour));
    let point = |p: &str| {
        let (x, y) = p.split_once(',').expect("x,y");
        (x.parse().unwrap(), y.parse().unwrap())
    };
    lines.map(|n| n.attribute("points").unwrap().split_whitespace().map(point).collect()).collect()
}

#[test]
fn each_figure_comes_as_svg_and_as_png_of_twice_its_size() {
    let (result, series) = fixture::invented();
    let figures = plots(&result, &series);
    let names: Vec<_> = figures.iter().map(|f| f.name.as_str()).collect();
    assert_eq!(
        names,
        [
            "speed-difference",
            "revolution-balance",
            "differential-slip",
            "wheel-lifted",
            "selections-1"
        ]
    );
    for f in &figures {
        let document = Document::parse(f.svg().as_str()).expect("well-formed");
        let size = |a| document.root_element().attribute(a).unwrap().parse::<u32>().unwrap();
        let mut png = png::Decoder::new(std::io::Cursor::new(f.png())).read_info().unwrap();
        let info = (png.info().width, png.info().height);
        assert_eq!(info, (2 * size("width"), 2 * size("height")), "{}", f.name);
        let mut pixels = vec![0; png.output_buffer_size().unwrap()];
        png.next_frame(&mut pixels).unwrap();
        assert!(pixels.iter().filter(|p| **p < 128).count() > 1000, "{} is blank", f.name);
    }
}

#[test]
fn axes_carry_units_and_bands_carry_the_names_of_modes() {
    let (result, series) = fixture::invented();
    for f in plots(&result, &series).iter().take(3) {
        let words: Vec<_> = texts(f.svg().as_str()).into_iter().map(|t| t.0).collect();
        let has = |word: &str| words.iter().any(|w| w.contains(word));
        assert!(has("/ s") && (has("turns") || has("%")), "{words:?}");
        for mode in ["rear only high", "full-time high", "locked high", "full-time low"] {
            let times = words.iter().filter(|w| w.contains(mode)).count();
            assert_eq!(times, 2, "{mode} in the legend and on its band: {words:?}");
        }
        assert!(has("no mode row matches"));
    }
}

#[test]
fn no_text_begins_or_ends_outside_of_its_figure() {
    let (mut result, series) = fixture::invented();
    for span in &mut result.modes {
        span.mode = span.mode.as_ref().map(|m| format!("{m} {}", "very ".repeat(30)));
    }
    for s in &mut result.selections {
        s.to = "W".repeat(200);
        s.outcome = "W".repeat(200);
        s.stages.iter_mut().for_each(|s| s.name = "W".repeat(200));
    }
    for f in plots(&result, &series) {
        let svg = f.svg().as_str();
        let document = Document::parse(svg).unwrap();
        let root = document.root_element();
        let size = |a| root.attribute(a).unwrap().parse::<f64>().unwrap();
        for (text, x, y) in texts(svg) {
            assert!(0.0 < x && x < size("width") && 0.0 < y && y < size("height"), "{text}");
        }
        // Texts that begin at a place: their widest rendering (DejaVu Sans, 1.03 em for a W in
        // bold) still ends inside.
        let anchored = document
            .descendants()
            .filter(|n| n.has_tag_name("text") && n.attribute("text-anchor") == Some("start"));
        for n in anchored {
            let number = |a| n.attribute(a).unwrap().parse::<f64>().unwrap();
            let text = n.text().unwrap().trim();
            let wide = text.chars().filter(|c| *c == 'W').count() as f64;
            let narrow = text.chars().count() as f64 - wide;
            let end = number("x") + (wide * 1.1 + narrow * 0.62) * number("font-size");
            assert!(end < size("width"), "{}: {text} ends at {end}", f.name);
        }
    }
}

#[test]
fn a_gap_in_the_readings_is_a_gap_in_the_line() {
    let (result, series) = fixture::invented();
    let f = figure(plots(&result, &series), "speed-difference");
    // Vermillion is the rear output; the board was silent from 100 s to 104 s.
    let runs: Vec<_> =
        lines_in(f.svg().as_str(), "#D55E00").into_iter().filter(|r| r.len() > 2).collect();
    assert_eq!(runs.len(), 2, "one run before and one after the silence");
    let silence = runs[1][0].0 - runs[0][runs[0].len() - 1].0;
    let second = 698.0 / 300.0;
    assert!((silence - 4.25 * second).abs() < 2.0, "{silence} px for 4.25 s");
}

#[test]
fn with_nothing_to_draw_a_figure_says_so_in_words() {
    let (result, series) = fixture::empty();
    for f in plots(&result, &series) {
        let words: String = texts(f.svg().as_str()).into_iter().map(|t| t.0 + " ").collect();
        assert!(words.contains("in this drive"), "{}: {words}", f.name);
        assert!(lines_in(f.svg().as_str(), "#0072B2").is_empty());
    }
}

#[test]
fn the_locked_part_of_the_balance_is_flat_and_the_demanded_line_climbs() {
    let (result, series) = fixture::invented();
    let f = figure(plots(&result, &series), "revolution-balance");
    let climb = |colour: &str| {
        let runs = lines_in(f.svg().as_str(), colour);
        let x = |t: f64| 72.0 + t / 300.0 * 698.0;
        let run = runs.iter().find(|r| (r[0].0 - x(171.5)).abs() < 2.0).expect("the locked run");
        run[0].1 - run[run.len() - 1].1
    };
    assert!(climb("#000000").abs() < 1.0, "counted");
    assert!(climb("#E69F00") > 50.0, "demanded");
}

#[test]
fn one_spike_among_many_readings_stays_in_the_picture() {
    let (result, _) = fixture::invented();
    let mut series = Series::default();
    for k in 0..100_000 {
        series.time_s.push(f64::from(k) * 0.003);
        series.front_rpm.push(Some(if k == 77_777 { 500.0 } else { 100.0 }));
        series.rear_rpm.push(Some(100.0));
    }
    let f = figure(plots(&result, &series), "speed-difference");
    let line = lines_in(f.svg().as_str(), "#0072B2").concat();
    let heights = || line.iter().map(|p| p.1);
    let climb = heights().fold(f64::MIN, f64::max) - heights().fold(f64::MAX, f64::min);
    assert!(climb > 100.0, "{climb}");
    assert!(line.len() < 4000, "{} points", line.len());
}

#[test]
fn numbers_that_no_sensor_gives_neither_hang_nor_break_a_figure() {
    let (mut result, mut series) = fixture::invented();
    let unkind = [f64::NAN, f64::INFINITY, -f64::INFINITY, 1e308, -1e308, 5e-324, 1e15];
    for (i, x) in unkind.into_iter().enumerate() {
        series.time_s[10 * i] = x;
        series.front_rpm[10 * i + 5] = Some(x);
        series.counted_turn[10 * i + 5] = Some(x);
        series.differential_slip_percent[10 * i + 5] = Some(x);
        series.lifted[0].front_rpm[10 * i] = x;
        result.modes[i % 7].end_s = x;
        result.selections[i % 4].stages[0].first_edge_s = x;
        result.selections[i % 4].stages[1].settled_s = Some(x);
    }
    result.duration_s = Some(f64::INFINITY);
    series.rear_rpm.truncate(100);
    for f in plots(&result, &series) {
        Document::parse(f.svg().as_str()).expect("well-formed");
    }
}

#[test]
fn many_selections_are_spread_over_several_figures_and_the_rest_is_counted() {
    let (mut result, series) = fixture::invented();
    result.selections = vec![result.selections[0].clone(); 30];
    let figures = plots(&result, &series);
    let pages = figures.iter().filter(|f| f.name.starts_with("selections-")).count();
    assert_eq!(pages, 6);
    assert!(figures.last().unwrap().caption.contains("6 more selections"));
}
