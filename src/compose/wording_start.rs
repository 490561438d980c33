//! A wording file to begin a translation with: the English one, made ready for another language.

use super::wording_check::plural_forms;

/// Languages that are written from right to left.
const RIGHT_TO_LEFT: [&str; 10] = ["ar", "arc", "ckb", "dv", "fa", "he", "ps", "sd", "ur", "yi"];

/// The English file's text with the head of another language's, with its placeholders named above each text
/// that has some, and with the plural forms that the language needs.
#[must_use]
pub fn start_wording(english: &str, language: &str) -> String {
    let plain = language.split('-').next().unwrap_or(language);
    let direction = if RIGHT_TO_LEFT.contains(&plain) { "rtl" } else { "ltr" };
    let mut text = format!(
        "# The words of the sheets in the language {language}, still in English: put the translation in their place.\n\
         #\n\
         # A care card needs [meta], [dates], [common.labels] `page` and `of`, and everything under [card]. Without the\n\
         # other tables staff sheets stay in the unit's language: delete all of them, or translate all of them.\n\
         # `baypack words --check FILE` says what is missing.\n"
    );
    for line in english.lines().skip_while(|line| !line.is_empty()) {
        let said = match line {
            "code = \"en\"" => format!("code = \"{language}\""),
            "name = \"English\"" => "name = \"\"".to_owned(),
            "direction = \"ltr\"" => format!("direction = \"{direction}\""),
            _ if line.contains("{ count = ") => plural(line, language),
            _ => line.to_owned(),
        };
        let names = placeholders(line);
        if !names.is_empty() && !line.starts_with('#') {
            let indent = line.len() - line.trim_start().len();
            text += &format!("{}# placeholders: {}\n", &line[..indent], names.join(" "));
        }
        text += &said;
        text.push('\n');
    }
    text
}

/// A line of plural forms with those of the language, each in English's last form.
fn plural(line: &str, language: &str) -> String {
    let between =
        |from: &str| line.split_once(from).and_then(|(_, rest)| rest.split_once('"')).map(|(text, _)| text);
    let (Some((name, _)), Some(count), Some(other)) =
        (line.split_once('='), between("count = \""), between("other = \""))
    else {
        return line.to_owned();
    };
    let forms: Vec<String> =
        plural_forms(language).into_iter().map(|form| format!("{form} = \"{other}\"")).collect();
    format!("{name}= {{ count = \"{count}\", {} }}", forms.join(", "))
}

/// Each `{{placeholder}}` of a line once.
fn placeholders(line: &str) -> Vec<&str> {
    let mut found = Vec::new();
    for (at, _) in line.match_indices("{{") {
        let Some(name) = line[at..].find("}}").map(|end| &line[at..at + end + 2]) else { continue };
        if !found.contains(&name) {
            found.push(name);
        }
    }
    found
}
