//! Tells cargo that the program carries `layouts/`, so that a new file there (a wording file for one
//! more language) is in the next build.

fn main() {
    println!("cargo::rerun-if-changed=layouts");
}
