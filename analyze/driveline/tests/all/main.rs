//! The physics held to published numbers, to properties and to its own words: one binary, so that
//! all of it is linked and run once.

mod axle_counts;
mod circle;
mod clocks;
mod common;
mod contacts;
mod course_noise;
mod courses;
mod drag;
mod effects;
mod limits;
mod kept_numbers;
mod kept_walks;
mod lost_stretch;
mod motion;
mod outside_kinematics;
mod outside_shafts;
mod outside_signals;
mod outside_speed;
mod outside_statistics;
mod outside_tyres;
mod places;
mod quantities;
mod rates;
mod scrubs;
mod shaft_order;
mod steps;
mod teeth;
mod told_apart;
mod turns;
mod tyre_sizes;
mod vehicle_files;
mod vehicle_fit;
mod verdicts;
