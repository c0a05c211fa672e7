//! Forms as a browser sends them: with everything that stands in them, and what a person changed.

use crate::harness::{Answer, Client};

/// A form of a page, filled as it stands there.
pub struct Form {
    action: String,
    fields: Vec<(String, String)>,
}

fn plain(text: &str) -> String {
    text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&")
}

fn attribute(tag: &str, name: &str) -> Option<String> {
    let from = tag.split(&format!(" {name}=\"")).nth(1)?;
    Some(plain(from.split('"').next()?))
}

impl Form {
    /// The form of this name on a page.
    #[track_caller]
    pub fn of(page: &Answer, name: &str) -> Self {
        let id = format!(" id=\"form-{name}\"");
        let whole = page
            .text
            .split("<form")
            .find(|form| form.split('>').next().is_some_and(|tag| format!("{tag}>").contains(&id)));
        let whole = whole.unwrap_or_else(|| panic!("no form {name} in {}", page.text));
        let whole = whole.split("</form>").next().unwrap();
        let action = attribute(whole.split('>').next().unwrap(), "action").unwrap();
        let mut fields = Vec::new();
        for part in whole.split('<').skip(1) {
            let (tag, text) = part.split_once('>').unwrap_or((part, ""));
            let name = || attribute(tag, "name");
            match tag.split(' ').next().unwrap() {
                "input" => {
                    let kind = attribute(tag, "type").unwrap_or_default();
                    let sent = match kind.as_str() {
                        "checkbox" => tag.contains(" checked"),
                        "file" => false,
                        _ => true,
                    };
                    if let (true, Some(name)) = (sent, name()) {
                        fields.push((name, attribute(tag, "value").unwrap_or_default()));
                    }
                }
                "textarea" => fields.extend(name().map(|name| (name, plain(text)))),
                "select" => fields.extend(name().map(|name| (name, "\u{0}".to_owned()))),
                "option" => {
                    let value = attribute(tag, "value").unwrap_or_default();
                    if let Some((_, chosen)) = fields.last_mut()
                        && (*chosen == "\u{0}" || tag.contains(" selected"))
                    {
                        *chosen = value;
                    }
                }
                _ => {}
            }
        }
        Self { action, fields }
    }

    /// With something typed or chosen.
    #[track_caller]
    pub fn with(mut self, name: &str, value: &str) -> Self {
        let field = self.fields.iter_mut().find(|(known, _)| known == name);
        let (_, typed) = field.unwrap_or_else(|| panic!("there is no field {name}"));
        value.clone_into(typed);
        self
    }

    /// With a box ticked, or what a page does not show to this person.
    pub fn and(mut self, name: &str, value: &str) -> Self {
        self.fields.push((name.to_owned(), value.to_owned()));
        self
    }

    /// What stands in a field.
    #[track_caller]
    pub fn has(&self, name: &str) -> &str {
        let found = self.fields.iter().find(|(known, _)| known == name);
        found.map(|(_, text)| text.as_str()).unwrap_or_else(|| panic!("no field {name}"))
    }

    /// The same form as somebody else would send it, with their token.
    pub fn by_another(&self, token: &str) -> Self {
        let mut form = Self { action: self.action.clone(), fields: self.fields.clone() };
        for (name, value) in &mut form.fields {
            if name == "form.token" {
                token.clone_into(value);
            }
        }
        form
    }

    #[track_caller]
    pub fn send(&self, by: &Client) -> Answer {
        let pairs: Vec<(&str, &str)> =
            self.fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        by.send("POST", &self.action, super::fields(&pairs))
    }

    /// With a file behind its fields.
    #[track_caller]
    pub fn send_with(&self, by: &Client, file: (&str, &str)) -> Answer {
        let (name, text) = file;
        let mut body = String::new();
        for (field, value) in &self.fields {
            body += &format!(
                "--part\r\ncontent-disposition: form-data; name=\"{field}\"\r\n\r\n{value}\r\n"
            );
        }
        body += &format!(
            "--part\r\ncontent-disposition: form-data; name=\"file\"; filename=\"{name}\"\r\ncontent-type: text/csv\r\n\r\n{text}\r\n--part--\r\n"
        );
        by.send("POST", &self.action, Some(("multipart/form-data; boundary=part", body)))
    }
}
