//! Each test that `tests/asvs.md` names is there.

use std::fs;
use std::path::Path;

/// All sources of a folder and what is in it, one after the other, without what was built or fetched.
fn sources(folder: &Path, into: &mut String) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        if path.is_dir() && !name.starts_with('.') && name != "node_modules" {
            sources(&path, into);
        } else if name.ends_with(".rs") {
            into.push_str(&fs::read_to_string(&path).unwrap());
        }
    }
}

#[test]
fn each_test_that_shows_what_is_asked_of_a_web_application_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let table = fs::read_to_string(root.join("tests/asvs.md")).unwrap();
    let mut code = String::new();
    sources(&root.join("tests"), &mut code);
    sources(&root.join("server"), &mut code);
    let rows =
        table.lines().filter(|line| line.starts_with("| ") && !line.starts_with("| what is asked"));
    let (mut named, mut missing) = (0, Vec::new());
    for row in rows {
        let shown = row.trim_matches('|').rsplit(" | ").next().unwrap();
        let names: Vec<&str> = shown.split('`').skip(1).step_by(2).collect();
        if names.is_empty() && !shown.contains("**No**") {
            missing.push(format!("nothing is named in: {row}"));
        }
        for name in names.into_iter().filter(|name| !name.contains([' ', '='])) {
            let there = if name.ends_with(".js") {
                root.join("tests/browser").join(name).is_file()
            } else if name.contains('/') {
                root.join(name).is_file()
            } else {
                code.contains(&format!("fn {name}()"))
            };
            if !there {
                missing.push(name.to_owned());
            }
            named += 1;
        }
    }
    assert!(missing.is_empty(), "named in tests/asvs.md and not there:\n{}", missing.join("\n"));
    assert!(named > 80, "{named}");
}
