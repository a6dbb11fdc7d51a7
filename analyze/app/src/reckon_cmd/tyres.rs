//! `reckon tyres`: two sizes side by side.

use super::{K95, input, table};
use clap::Args;
use wheelwitness_driveline::tyre::{Size, circumference_ratio};
use wheelwitness_driveline::vehicle::Limits;

/// Arguments of `reckon tyres`.
#[derive(Debug, Args)]
pub struct TyresArgs {
    /// Size on the vehicle now, as on the side wall: 265/70R16
    #[arg(value_parser = input::size, value_name = "OLD")]
    pub old: Size,
    /// Size to compare it with
    #[arg(value_parser = input::size, value_name = "NEW")]
    pub new: Size,
}

/// The comparison.
pub fn text(args: &TyresArgs) -> String {
    let (old, new) = (&args.old, &args.new);
    let row = |name: &str, of: fn(&Size) -> f64, digits: usize| {
        let (a, b) = (of(old), of(new));
        let percent = format!("{:+.2} %", (b / a - 1.0) * 100.0);
        let number = |x: f64| format!("{x:.digits$}");
        vec![name.to_string(), number(a), number(b), format!("{:+.digits$}", b - a), percent]
    };
    let rows = [
        row("outer diameter, mm", |s| f64::from(s.outer_diameter_mm()), 0),
        row("  least allowed, mm", |s| s.outer_diameter_range_mm().0, 1),
        row("  most allowed, mm", |s| s.outer_diameter_range_mm().1, 1),
        row("section height, mm", Size::section_height_mm, 1),
        row("rolling circumference, mm", Size::rolling_circumference_mm, 1),
        row("turns per km", Size::turns_per_km, 2),
        row("turns per mile", Size::turns_per_mile, 2),
    ];
    table(&["", "old", "new", "change", ""], &rows) + &effects(old, new)
}

fn effects(old: &Size, new: &Size) -> String {
    let [ratio, u] = circumference_ratio(old, new);
    let rise = (f64::from(new.outer_diameter_mm()) - f64::from(old.outer_diameter_mm())) / 2.0;
    let gap = new.rolling_circumference_mm() - old.rolling_circumference_mm();
    let limit = Limits::default().circumference_mm;
    let mixed = if gap.abs() > limit { "not to be mixed" } else { "near enough by design" };
    format!(
        "\nAxles rise by {rise:+.1} mm (unloaded). A speedometer that was true shows 100 km/h at \
         {:.1} ± {:.1} km/h\n(95 %, new tyres anywhere in what their markings allow).\n\
         Front and rear in full-time drive: {mixed} ({gap:+.1} mm of circumference, common \
         practice {limit:.1} mm).\nOne marking alone may differ by more: measure a roll-out of \
         each wheel, loaded, at one pressure.\n\
         Diameters: UN R30 para 6.1.2 and 6.1.4.2; circumference: ETRTO manual (all from \
         memory).\n",
        100.0 * ratio,
        100.0 * K95 * u
    )
}
