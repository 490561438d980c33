//! Tells cargo that the program carries `layouts/`, so that a new file there (a wording file for one
//! more language) is in the next build.

#[expect(clippy::disallowed_macros, reason = "this is how cargo is told")]
fn main() {
    println!("cargo::rerun-if-changed=layouts");
}
