//! Random drives that once got a wrong verdict: what deceived the analysis then does so no more.

use wheelwitness_tests::campaign::{Call, Called, by_bus, drive, turned};

/// Seed of a drive, and what deceived the analysis.
const DRIVES: [(u64, &str); 58] = [
    (7061, "one of two magnets of the rear shaft was missing, so that every turn counted half"),
    (7097, "a wheel sensor was blind for 4 s and right on the whole"),
    (7106, "a few edges of noise at the input were counted as turns"),
    (20074, "a row matched in passing, and the motor ran on until after the limit"),
    (20255, "a switch was wired wrongly for a row and stuck, and so read the row"),
    (21017, "a lock popped out in the last second of its mode, beyond play but hardly in a turn"),
    (21206, "a wheel sensor was blind for 4 s and right on the whole"),
    (21376, "a limit contact was wired wrongly in two rows"),
    (21385, "the input was silent below a speed, and so followed the output that rested"),
    (21539, "one of two magnets of the input was missing, which read as another gear"),
    (21904, "a few edges of noise at the front shaft made a lock look as if it slipped"),
    (100049, "a row matched in passing, and the fork's last move was called a flicker"),
    (102361, "a tooth of one of four wheels was missing, and no gap was seen"),
    (101588, "the input was blind below a speed for less than two seconds after a rest"),
    (102287, "fixes that a stalled computer read late in a heap were taken for new ones"),
    (
        140548,
        "one of two magnets of the input was missing, and a range was driven too short to tell",
    ),
    (
        140593,
        "play of a lock on a short straight, beside circles of one radius, read as an allowance",
    ),
    (140966, "the edge that settled a bounce was lost with all that came after it"),
    (
        141206,
        "it was not known in which level a contact stuck, and it was said to be the right one",
    ),
    (160312, "a switch was wired wrongly for a row and stuck, and showed the next row too early"),
    (160785, "a row matched in passing of a slow motor, and its lamps were called wrong meanwhile"),
    (160828, "a contact dropped out while a request that was never answered stood"),
    (161629, "one of two magnets of the front shaft was missing, and it was said to turn slowly"),
    (163283, "a switch stuck, so that a row matched long before the motor had done its work"),
    (161551, "a contact dropped out in a row that was wired wrongly, and so was never quiet"),
    (162332, "the vehicle had moved off before its shaft gave an edge, and that was called rest"),
    (170207, "the front shaft was blind from the beginning on, and its silence was not noticed"),
    (181000, "two edges of a bounce within one tick of the board were taken for one"),
    (200899, "half a second of straight running between two circles told a range ratio"),
    (210310, "a stalled computer ended the recording later than the board's last word"),
    (210962, "noise at a rear wheel read as a turn, although both outputs were sound"),
    (212275, "a wheel was blind in every tight turn, and a lock was said to differ against it"),
    (200615, "one of six teeth of the front shaft was missing, and noise hid the gap"),
    (100064, "a few edges of noise at a wheel of 48 teeth made a lock look as if it slipped"),
    (221031, "an edge too many at a rest moved the numbers of the teeth, and that was seen late"),
    (230530, "edges that no tooth made were taken for a smaller tyre"),
    (
        250840,
        "edges missed by a sensor that was blind for a moment were taken for slip of the lock",
    ),
    (251818, "nothing had to move, and a wrong row hid that the mode was engaged"),
    (
        260536,
        "a contact flickered while a wrong row was shown, and none was said to have flickered",
    ),
    (260988, "a dragging center hid three quarters of a tyre's difference"),
    (262061, "a sensor that missed pulses made a tyre of two metres less"),
    (320111, "a wheel was blind at every start, in steps too short to be called silent"),
    (328003, "both ends of the turns lay in a stretch that was lost, and straights told a lock"),
    (329834, "a rear wheel was blind for most of a drive without shaft sensors"),
    (352495, "an output's sensor went blind as the vehicle stopped, and that told another gear"),
    (356880, "rear wheels slid behind half a lock, and hid half of what a turn demanded"),
    (390258, "a stiff coupling within its limit let a little through of the tyres' mismatch too"),
    (406426, "a contact dropped out in a row that was wired wrongly, once, and so was not judged"),
    (410030, "a few edges of noise at the front shaft, too few to show, made a lock slip"),
    (422546, "a limit contact stuck while no switch moved, and that period was called idle"),
    (422629, "the front was not driven, and the slip of the rear axle made a tyre larger"),
    (440639, "a contact dropped out of a row that was read already, and came back: no arrival"),
    (468058, "the unit stirred 138 s after the request, and the mode before was taken for it"),
    (469828, "a lying switch read the row before the lock let go: the wait was taken for the mode"),
    (471545, "curves to both sides in a lost stretch were taken for a straight way"),
    (482462, "an input that was blind at low speed told that the front was not driven"),
    (514599, "a second of turning, smeared over a course of seven, told a share of its own"),
    (505709, "a shaft was blind until its lock engaged, and missed three edges as it woke"),
];

/// The same of vehicles that were turned by hand.
const HANDS: [(u64, &str); 7] = [
    (189, "a held wheel was pushed to and fro through its play, and nothing felt was written"),
    (372, "a tooth trembled before its sensor while its part was held"),
    (398, "half a lock crept by less than play under a torque wrench, and was called a lock"),
    (508, "the rear output's sensor was blind at the speed of a hand, and was said to stand"),
    (534, "half a lock crept farther than play, and was felt as held"),
    (30298, "a sensor that had counted a quick wheel was blind to a flange, and was said to stand"),
    (31333, "a sleeve hung on its way, and the switch that tells it was wired wrongly for a row"),
];

/// The same of vehicles that were watched through their bus.
const BUS: [(u64, &str); 12] = [
    (5527, "a sleeve hung on its way, and the switch that tells it stuck"),
    (10521, "tyres bent two circles to opposite sides, and that was taken for a mismatch"),
    (20023, "a sleeve hung on its way, and the switch that tells it stuck"),
    (5164, "the inner wheel of a slow circle fell under its unit's floor, and read sharper"),
    (5451, "a lock was said to drift by what the scale of one axle's unit was off"),
    (5455, "the scales of front and rear unit differed, and that read as a lock that drifts"),
    (5466, "the scales of front and rear unit differed, and that read as a lock that drifts"),
    (5944, "wheels fell under their unit's floor in a slow circle, and outputs seemed to differ"),
    (31346, "a mode that stayed locked was taken for a center that drags, and tyres for double"),
    (31602, "a center that drags at speed hid a mismatch from which next to nothing could be told"),
    (20241, "a vehicle that crept under its units' floor was said to rest while its sleeve waited"),
    (20475, "a vehicle that crept under its units' floor was said to rest while its sleeve waited"),
];

#[test]
fn what_once_led_to_a_wrong_verdict_does_so_no_more() {
    let driven = DRIVES.map(|(seed, why)| (drive(seed), why));
    let by_hand = HANDS.map(|(seed, why)| (turned(seed), why));
    let by_bus = BUS.map(|(seed, why)| (by_bus(seed), why));
    for (outcome, why) in driven.into_iter().chain(by_hand).chain(by_bus) {
        let (seed, calls) = (outcome.seed, outcome.calls);
        let wrong: Vec<&Called> = calls.iter().filter(|c| c.call == Call::Wrong).collect();
        assert!(wrong.is_empty(), "seed {seed} ({why}): {wrong:?}");
        assert!(calls.iter().any(|c| c.call == Call::Right), "seed {seed}: nothing was decided");
    }
}
