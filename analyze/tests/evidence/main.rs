//! Evidence beside the shafts: what hands turned, what three witnesses say, how selections went.

#[path = "../shared/capture.rs"]
mod capture;
mod hand;
mod selections;
mod witnesses;

use capture::capture;
use wheelwitness_analyze::assemble::Beside;
use wheelwitness_analyze::judge::judge_beside;
use wheelwitness_analyze::result::DriveResult;
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_rig::Run;

/// Judges a run by a vehicle file, and by a hand sheet if there is one.
fn judged_by(run: &Run, vehicle: &str, sheet: Option<&str>) -> DriveResult {
    let mut reader = CaptureReader::from_storage(capture(run)).expect("just written");
    let beside = Beside {
        vehicle: Some((vehicle, "wagon.toml")),
        hand: sheet.map(|text| (text, "hand.toml")),
    };
    judge_beside(&mut reader, beside).expect("a simulated drive can be judged").0
}
