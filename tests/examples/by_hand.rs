//! Prints the example of `DEVELOPERS.md`, hop by hop.

fn main() {
    for hop in wheelwitness_tests::by_hand::hops() {
        println!("{hop}");
    }
}
