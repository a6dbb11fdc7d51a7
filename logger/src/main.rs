//! The light recorder: hands the arguments to the library and its answer to the shell.

fn main() {
    std::process::exit(wheelwitness_logger::cli::run(std::env::args_os()));
}
