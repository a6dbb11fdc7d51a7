//! The program `wheelwitness`: hands the arguments to the library and its answer to the shell.

fn main() {
    std::process::exit(wheelwitness::run(std::env::args_os()));
}
