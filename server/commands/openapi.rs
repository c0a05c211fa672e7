//! `rungbook openapi`: the description of the API, and the JSON Schemas of the exports.

use clap::{Args, ValueEnum};

use super::Failure;

/// An export that has a schema.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Export {
    /// Completed hours
    Hours,
}

/// Print the description of the API (OpenAPI 3.1).
#[derive(Debug, Args)]
pub struct Openapi {
    /// Print the JSON Schema of an export instead
    #[arg(long, value_name = "EXPORT")]
    schema: Option<Export>,
}

impl Openapi {
    /// Prints it on standard output.
    ///
    /// # Errors
    ///
    /// None; the shape is that of all commands.
    pub fn run(self) -> Result<(), Failure> {
        let text = match self.schema {
            None => http_service::openapi(),
            Some(Export::Hours) => http_service::hours_schema(),
        };
        print!("{text}");
        Ok(())
    }
}
