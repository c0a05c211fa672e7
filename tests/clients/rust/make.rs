//! Makes the client by openapi-to-rust, which tells on standard error what it cannot make well.
//!
//! ```text
//! make-client DESCRIPTION FOLDER
//! ```

use std::error::Error;
use std::path::PathBuf;
use std::{env, fs};

use openapi_to_rust::{CodeGenerator, GeneratorConfig, SchemaAnalyzer};

fn main() -> Result<(), Box<dyn Error>> {
    let mut given = env::args_os().skip(1).map(PathBuf::from);
    let (Some(description), Some(folder)) = (given.next(), given.next()) else {
        return Err("say which description, and the folder for the client".into());
    };
    let document: serde_json::Value = serde_json::from_slice(&fs::read(&description)?)?;
    let operations = operation_ids(&document);
    let mut analysis = SchemaAnalyzer::new(document)?.analyze()?;
    if let Some(lacking) = operations.iter().find(|it| !analysis.operations.contains_key(*it)) {
        return Err(format!("the client would lack {lacking}").into());
    }
    let generator = CodeGenerator::new(GeneratorConfig {
        spec_path: description,
        output_dir: folder,
        module_name: "rungbook_client".to_owned(),
        enable_async_client: true,
        enable_sse_client: false,
        tracing_enabled: false,
        ..GeneratorConfig::default()
    });
    let client = generator.generate_all(&mut analysis)?;
    generator.write_files(&client)?;
    println!("{} operations", operations.len());
    Ok(())
}

fn operation_ids(document: &serde_json::Value) -> Vec<String> {
    let items = document["paths"].as_object().into_iter().flat_map(|paths| paths.values());
    items
        .filter_map(serde_json::Value::as_object)
        .flat_map(|item| item.values())
        .filter_map(|operation| operation["operationId"].as_str())
        .map(str::to_owned)
        .collect()
}
