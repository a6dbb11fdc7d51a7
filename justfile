# What is done often, one name each. `just` alone lists them.

_list:
    @just --list

# The whole chain on a simulated vehicle, into a new folder demo-drive
run *args:
    cargo run -p wheelwitness -- demo {{args}}

# Every test
test *args:
    cargo test --workspace {{args}}

# Types only, everything
check:
    cargo check --workspace --all-targets

# Throughput of the recorder, and of capture to verdicts
bench:
    cargo bench -p wheelwitness-logger
    cargo run --release -p wheelwitness-capture --example throughput
    cargo run --release -p wheelwitness-tests --bin bench

# A capture of so many GiB, judged under 256 MiB: `just large 20`
large gib="20":
    WHEELWITNESS_LARGE_GIB={{gib}} cargo test --release -p wheelwitness --test outside large -- --nocapture

# The recorder on real CAN interfaces, in a guest
can *args:
    CARGO_TARGET_X86_64_UNKNOWN_LINUX_GNU_RUNNER=$PWD/logger/can-guest/run \
        cargo test -p wheelwitness-logger --test recording {{args}} vcan::

# Random drives with known truth, judged: `just campaign --first 1 --drives 500 --ablate`
campaign *args="--drives 100":
    cargo run --release -p wheelwitness-tests --bin campaign -- {{args}}

# Mutants of the physics, a part of them, against its own tests: `cargo install cargo-mutants` first
mutants part="0/100" *args:
    RUST_TEST_THREADS=2 cargo mutants -p wheelwitness-driveline --shard {{part}} {{args}}

# The fault table, row by row: `just faults`, `just faults --full`, `just faults --row 1 --times 1000`
faults *args:
    cargo run -p wheelwitness-faults --bin faults -- {{args}}

# Any bytes into every decoder and reader: `just fuzz --minutes 5 --keep`, `just fuzz --table`
fuzz *args:
    cargo run -p wheelwitness-fuzz --bin fuzz -- {{args}}

# Format and lints, as CI wants them
lint:
    cargo fmt --all -- --check
    cargo clippy --workspace --all-targets -- -D warnings

# The pages of every crate, links checked
doc:
    RUSTDOCFLAGS="-D warnings" cargo doc --no-deps --workspace

# Everything that CI does
ci:
    .ci/run
