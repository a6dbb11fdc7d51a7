//! An invented drive: the result and the series that a report is printed from. No vehicle, no
//! recording and no analysis is behind it; the figures are only plausible.

use std::collections::BTreeMap;
use wheelwitness_analyze::result::*;
use wheelwitness_analyze::series::{LiftedWindow, Series};

/// The invented drive.
pub fn invented() -> (DriveResult, Series) {
    (result(), series())
}

/// A capture in which nothing was recorded.
pub fn empty() -> (DriveResult, Series) {
    let mut r = result();
    r.capture.records = 0;
    (r.duration_s, r.distance_m) = (None, None);
    (r.sources, r.modes, r.selections) = (Vec::new(), Vec::new(), Vec::new());
    for claim in &mut r.claims {
        claim.verdict = Verdict::Undecided;
        claim.reason_code = "nothing-recorded".into();
        claim.reason = "the capture holds no readings".into();
        claim.next_step = Some("record a drive".into());
        claim.periods.clear();
    }
    (r, Series::default())
}

fn result() -> DriveResult {
    DriveResult {
        schema: SCHEMA.into(),
        program: Program { name: "wheelwitness".into(), version: "0.1.0".into() },
        capture: capture(),
        vehicle: VehicleInfo {
            name: "Moorland carrier (invented)".into(),
            sha256: "5f".repeat(32),
            format: 1,
        },
        sources: sources(),
        duration_s: Some(300.0),
        distance_m: Some(842.6),
        modes: modes(),
        selections: selections(),
        claims: claims(),
        pairs: pairs(),
        witnesses: witnesses(),
        hand: Some(hand()),
    }
}

fn capture() -> CaptureInfo {
    CaptureInfo {
        recording: "0d9c6a1e5b7f42388a3c71f0e2d4b596".into(),
        sha256: "a4".repeat(32),
        segments: 2,
        records: 66_240,
        holes: vec![Hole { segment: 1, offset: 1_048_576, bytes: 4096, records_missing: Some(63) }],
        closed: true,
        started_wall_ns: Some(1_790_000_000_000_000_000),
        simulated_clock_scale: Some(20.0),
    }
}

fn sources() -> Vec<SourceInfo> {
    let source = |number, name: &str, speaks: &str, bytes, accepted, missing| SourceInfo {
        number,
        name: name.into(),
        speaks: speaks.into(),
        bytes,
        accepted,
        faults: BTreeMap::new(),
        missing,
        interruptions: 0,
    };
    let mut board = source(0, "board", "pulse board", 4_032_117, 63_355, Some(12));
    board.faults = BTreeMap::from([("CRC does not match".into(), 3), ("cut short".into(), 1)]);
    let mut gnss = source(1, "gnss", "GNSS", 412_803, 5_870, None);
    gnss.interruptions = 1;
    vec![board, gnss]
}

fn modes() -> Vec<ModeSpan> {
    let span = |start_s, end_s, mode: Option<&str>, coupling| ModeSpan {
        start_s,
        end_s,
        mode: mode.map(Into::into),
        coupling,
    };
    vec![
        span(0.0, 60.0, Some("rear only high"), Some(Coupling::RearOnly)),
        span(60.0, 63.1, None, None),
        span(63.1, 160.0, Some("full-time high"), Some(Coupling::Differential)),
        span(160.0, 171.4, None, None),
        span(171.4, 244.0, Some("locked high"), Some(Coupling::Locked)),
        span(244.0, 246.2, None, None),
        span(246.2, 300.0, Some("full-time low"), Some(Coupling::Differential)),
    ]
}

fn pairs() -> Vec<PairTimes> {
    vec![PairTimes {
        from: Some("rear only high".into()),
        to: "full-time high".into(),
        n: 1,
        median_s: 3.0,
        worst_s: 3.0,
        percentile95_s: None,
    }]
}

fn witnesses() -> Witnesses {
    let span = |(start_s, end_s), mode: Option<&str>, couplings, sureness| WitnessSpan {
        start_s,
        end_s,
        mode: mode.map(Into::into),
        couplings,
        sureness,
        evidence: vec![RecordRange { first: 14_000, last: 30_000 }],
    };
    let (open, lock) = (Coupling::Differential, Coupling::Locked);
    Witnesses {
        requested: vec![
            span((0.0, 60.0), Some("rear only high"), vec![Coupling::RearOnly], Sureness::Sure),
            span((60.0, 160.0), Some("full-time high"), vec![open], Sureness::Sure),
            span((160.0, 300.0), Some("locked high"), vec![lock], Sureness::Sure),
        ],
        switches: vec![
            span((63.1, 160.0), Some("full-time high"), vec![open], Sureness::Sure),
            span((171.4, 244.0), Some("locked high"), vec![lock], Sureness::Partly),
        ],
        shafts: vec![
            span((70.0, 120.0), None, vec![open, Coupling::FrontOnly], Sureness::Partly),
            span((180.0, 230.0), None, vec![open], Sureness::Sure),
        ],
        conflicts: vec![Conflict {
            start_s: 180.0,
            end_s: 230.0,
            between: [Witness::Switches, Witness::Shafts],
            says: ["locked high".into(), "open center differential".into()],
        }],
    }
}

fn hand() -> HandInfo {
    let trial = HandTrial {
        number: 1,
        mode: "locked high".into(),
        what: "raised front left wheel, gearbox in neutral".into(),
        start_s: Some(280.0),
        end_s: Some(290.0),
        front_turn: Some(0.0),
        rear_turn: Some(0.0),
        input_turn: None,
        fits: vec![Coupling::Locked],
        silent: None,
        by: "A. N.".into(),
        on: "2026-01-31".into(),
        evidence: vec![RecordRange { first: 60_000, last: 62_000 }],
    };
    HandInfo { sha256: "c3".repeat(32), trials: vec![trial] }
}

fn selections() -> Vec<Selection> {
    let stage =
        |name: &str, first_edge_s, settled_s| Stage { name: name.into(), first_edge_s, settled_s };
    let selection = |number, from: &str, to: &str, requested_s, outcome: &str, stages| Selection {
        number,
        from: Some(from.into()),
        to: to.into(),
        requested_s,
        outcome: outcome.into(),
        detail: None,
        stages,
        turns_since_motor_stop: Some(0.4),
        completion_s: Some(3.0),
        needs: "turns of front against rear".into(),
        needed: Some(0.4),
        blocked_by: Vec::new(),
        flashing: Vec::new(),
        lead: None,
        evidence: vec![RecordRange { first: number as u64 * 14_000, last: number as u64 * 14_900 }],
    };
    let quick = vec![
        stage("motor energised", 0.052, Some(0.054)),
        stage("limit contacts changed", 0.31, Some(1.872)),
        stage("motor stopped", 1.88, Some(1.882)),
        stage("position switches match", 2.94, Some(3.1)),
        stage("lamp steady", 3.12, Some(3.9)),
    ];
    let mut slow = quick.clone();
    slow[3] = stage("position switches match", 11.31, Some(11.4));
    slow[4] = stage("lamp steady", 11.42, Some(12.2));
    let mut list = vec![
        selection(1, "rear only high", "full-time high", 60.0, "confirmed", quick.clone()),
        selection(2, "full-time high", "locked high", 160.0, "slow", slow),
        selection(3, "locked high", "full-time low", 244.0, "completed", quick.clone()),
        selection(4, "full-time low", "locked high", 296.0, "waiting for rotation", quick),
    ];
    list[1].detail = Some("`lock fork` was the last switch to match".into());
    list[3].detail = Some("`lock fork` does not match yet; the vehicle stood".into());
    list[3].turns_since_motor_stop = None;
    (list[3].completion_s, list[3].needed) = (None, None);
    list[3].blocked_by = vec!["lock fork".into()];
    list[3].flashing = vec![Flash { lamp: "lock lamp".into(), start_s: 297.5, end_s: 300.0 }];
    list[3].lead = Some(Lead {
        cause: "a position switch".into(),
        fits: "the motor and its limit contacts reached the row; lock fork alone reads otherwise"
            .into(),
    });
    list[3].stages.truncate(3);
    list[3].stages.push(stage("position switches match", 2.1, None));
    list
}

fn reported(name: &str, unit: &str, value: f64, components: Vec<Component>) -> Reported {
    Reported::from(&Estimate { name: name.into(), value, unit: unit.into(), components })
}

fn allowance(value: f64) -> Reported {
    let components = vec![
        Component::shared("side slip", 0.021),
        Component::shared("geometry", 0.014),
        Component::own("counting", 0.008),
        Component::from_scatter("scatter of circles", 0.012, 5.0),
    ];
    reported("allowance", "1", value, components)
}

fn period(start_s: f64, end_s: f64, verdict: Verdict, estimates: Vec<Reported>) -> Period {
    let record = |t: f64| (t * 220.8) as u64;
    Period {
        start_s,
        end_s,
        verdict,
        reason: format!("{:.0} s of driving in this mode", end_s - start_s),
        estimates,
        evidence: vec![RecordRange { first: record(start_s), last: record(end_s) }],
    }
}

fn limit(
    quantity: &str,
    unit: &str,
    lower: Option<f64>,
    upper: Option<f64>,
    source: &str,
) -> Option<LimitInfo> {
    let (quantity, unit, source) = (quantity.into(), unit.into(), source.into());
    Some(LimitInfo { quantity, lower, upper, unit, source })
}

fn claim(id: &str, sentence: &str, scope: &str, verdict: Verdict, code: &str, why: &str) -> Claim {
    Claim {
        id: id.into(),
        sentence: format!("In this drive {sentence}."),
        scope: scope.into(),
        verdict,
        reason_code: code.into(),
        reason: why.into(),
        next_step: None,
        limit: None,
        periods: Vec::new(),
    }
}

fn claims() -> Vec<Claim> {
    use Verdict::*;
    let mut complete = claim(
        "capture-complete",
        "everything that the numbered sources sent is in the capture",
        "board",
        Disproven,
        "sentences-missing",
        "12 of 63,371 sentences of the board are missing by their numbers, all between 100.0 s and \
         104.0 s",
    );
    complete.limit =
        limit("sentences missing", "1", None, Some(0.0), "the claim itself: nothing is missing");
    complete.periods = vec![period(
        100.0,
        104.0,
        Disproven,
        vec![reported("sentences missing", "1", 12.0, vec![])],
    )];

    let mut agree = claim(
        "sensors-agree",
        "the shaft and wheel sensors agree with the declared axle ratio and tooth counts",
        "rear axle",
        Proven,
        "inside-limit",
        "the shaft-to-wheel ratio lies inside the limit in all 2 periods",
    );
    agree.limit = limit("ratio difference", "%", Some(-0.5), Some(0.5), "common practice");
    let ratio = |v| {
        let parts =
            vec![Component::own("counting", 0.03), Component::shared("tooth pattern", 0.02)];
        reported("ratio difference", "%", v, parts)
    };
    agree.periods = vec![
        period(5.0, 55.0, Proven, vec![ratio(0.08)]),
        period(150.0, 160.0, Proven, vec![ratio(-0.04)]),
    ];

    let mut table = claim(
        "switch-table",
        "the switches read what the table says whenever this mode was engaged",
        "locked high",
        Proven,
        "row-matches",
        "all 3 position switches of the row read as declared for 72.6 s",
    );
    table.periods = vec![period(171.4, 244.0, Proven, vec![])];

    let mut completes = claim(
        "selection-completes",
        "every requested mode engaged within its limit",
        "all selections",
        Disproven,
        "outside-limit",
        "selection 2, full-time high to locked high, took 11.4 s",
    );
    completes.limit = limit("time to engage", "s", None, Some(5.0), "vehicle file");
    let took = |v| reported("time to engage", "s", v, vec![Component::own("board tick", 0.001)]);
    completes.periods = vec![
        period(60.0, 63.1, Proven, vec![took(3.1)]),
        period(160.0, 171.4, Disproven, vec![took(11.4)]),
        period(244.0, 246.2, Proven, vec![took(2.2)]),
    ];
    completes.next_step = Some(
        "look for what holds the lock fork: drive gentle circles on loose ground after selecting, \
         and time it again"
            .into(),
    );

    let mut opens = claim(
        "center-opens",
        "in the open mode the outputs differed as the road demands, with the front coupled",
        "full-time high",
        Proven,
        "inside-limit",
        "the allowance lies inside the limit in both periods, and the front was coupled",
    );
    opens.limit = limit("allowance", "1", Some(0.7), Some(1.3), "common practice");
    let mismatch = reported("mismatch", "turn/km", 0.42, vec![Component::own("counting", 0.31)]);
    opens.periods = vec![
        period(66.0, 100.0, Proven, vec![allowance(0.98), mismatch.clone()]),
        period(104.0, 150.0, Proven, vec![allowance(1.03), mismatch]),
    ];

    let mut locks = claim(
        "center-locks",
        "in the locked mode the outputs did not differ",
        "locked high",
        Proven,
        "inside-limit",
        "the allowance lies inside the limit while four circles demanded 6.1 turns",
    );
    locks.limit = limit("allowance", "1", Some(-0.1), Some(0.1), "common practice");
    locks.periods = vec![period(173.0, 242.0, Proven, vec![allowance(0.004)])];

    let mut driven = claim(
        "front-driven",
        "the front axle was driven",
        "full-time low",
        Proven,
        "ratio-holds",
        "with the rear output at rest the front output turned 1/a times as fast as the input",
    );
    driven.limit = limit(
        "front output over input",
        "1",
        Some(1.9),
        Some(2.1),
        "torque share declared in the vehicle file",
    );
    driven.periods = vec![period(
        270.0,
        290.0,
        Proven,
        vec![reported(
            "front output over input",
            "1",
            1.998,
            vec![Component::own("counting", 0.011)],
        )],
    )];

    let mut tyres = claim(
        "tyres-match",
        "the rolling circumferences agree within the limit",
        "front/rear",
        Undecided,
        "limit-inside-uncertainty",
        "the difference of 7.1 mm is closer to the limit than its uncertainty allows to tell",
    );
    tyres.limit = limit(
        "circumference difference",
        "mm",
        Some(-9.975),
        Some(9.975),
        "common practice: the rule of 2/32 inch of tread depth",
    );
    tyres.next_step =
        Some("drive 500 m straight and steady, both accelerating and coasting".into());
    tyres.periods = vec![period(
        5.0,
        55.0,
        Undecided,
        vec![reported(
            "circumference difference",
            "mm",
            7.1,
            vec![
                Component::from_scatter("regression on acceleration", 2.6, 14.0),
                Component::shared("axle ratios", 0.4),
            ],
        )],
    )];

    vec![complete, agree, table, completes, opens, locks, driven, tyres]
}

/// One row every quarter of a second; the board was silent from 100 s to 104 s.
fn series() -> Series {
    let mut s = Series::default();
    let (mut counted, mut demanded) = (0.0, 0.0);
    for k in 0..1200 {
        let t = (f64::from(k) + 0.5) / 4.0;
        let silent = (100.0..104.0).contains(&t);
        let seen = |x: f64| (!silent).then_some(x);
        let speed = speed_mps(t);
        let turn = turning(t);
        let rear = if t > 270.0 && t < 290.0 { 0.0 } else { speed / 2.3 * 4.1 * 60.0 };
        let wanted = rear * turn;
        let front = match t {
            t if t > 270.0 && t < 290.0 => 61.0 + 3.0 * (t * 2.0).sin(),
            t if (171.4..244.0).contains(&t) => rear,
            _ => rear + wanted + 0.4 * (t * 9.0).sin(),
        };
        counted += (front - rear) / 240.0;
        demanded += wanted / 240.0;
        s.time_s.push(t);
        s.front_rpm.push(seen(front));
        s.rear_rpm.push(seen(rear));
        s.input_rpm.push(seen((front + rear) / 2.0));
        s.speed_mps.push(Some(speed));
        s.counted_turn.push(seen(counted));
        s.demanded_turn.push(seen(demanded));
        let mean = (front + rear) / 2.0;
        s.differential_slip_percent
            .push(seen((front - rear) / mean * 100.0).filter(|_| mean > 5.0));
    }
    s.lifted = vec![lifted()];
    s
}

fn speed_mps(t: f64) -> f64 {
    match t {
        t if t < 55.0 => 8.0 * (t / 8.0).min(1.0).min((55.0 - t) / 5.0),
        t if t < 66.0 => 0.3,
        t if t < 240.0 => 1.6 + 0.15 * (t / 7.0).sin(),
        t if t < 262.0 => 2.2,
        _ => 0.0,
    }
}

/// Demanded difference as a share of the rear output's turns: circles left and right.
fn turning(t: f64) -> f64 {
    let circles = (66.0..150.0).contains(&t) || (173.0..242.0).contains(&t);
    if circles { 0.085 + 0.01 * (t / 3.0).sin() } else { 0.001 }
}

fn lifted() -> LiftedWindow {
    let time_s: Vec<f64> = (0..160).map(|k| 270.0 + f64::from(k) / 8.0).collect();
    let front: Vec<f64> = time_s.iter().map(|t| 61.0 + 3.0 * (t * 2.0).sin()).collect();
    LiftedWindow {
        start_s: 270.0,
        end_s: 290.0,
        ratio: Some(1.998),
        rear_rpm: vec![0.0; time_s.len()],
        input_rpm: front.iter().map(|f| f / 1.998).collect(),
        front_rpm: front,
        time_s,
    }
}
