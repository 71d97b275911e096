//! The aircraft profiles that come with the program, inside it: used by name where there is no file, and written out to be edited.

/// Names, without `.toml`, and texts.
pub const PROFILES: [(&str, &str); 5] = [
    (
        "retractable-200hp",
        include_str!("../../profiles/retractable-200hp.toml"),
    ),
    (
        "retractable-285hp",
        include_str!("../../profiles/retractable-285hp.toml"),
    ),
    (
        "trainer-160hp",
        include_str!("../../profiles/trainer-160hp.toml"),
    ),
    (
        "turbo-retractable-300hp",
        include_str!("../../profiles/turbo-retractable-300hp.toml"),
    ),
    ("twin-200hp", include_str!("../../profiles/twin-200hp.toml")),
];

/// The text of a profile by its name.
pub fn profile(name: &str) -> Option<&'static str> {
    let found = PROFILES.iter().find(|(n, _)| *n == name);
    found.map(|(_, text)| *text)
}

/// The names, for a sentence.
pub fn names() -> String {
    PROFILES.map(|(name, _)| name).join(", ")
}
