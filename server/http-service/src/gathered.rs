//! All recordings of a run, opened for whoever evaluates them.

use evaluation::gathered::{Attached, Gathered, ReadColumns};
use recordings::columns::Columns;

use crate::columns::Source;
use crate::office::Office;
use crate::problem::Problem;

impl Office {
    /// Opens the columns of a run's recordings, and does something with them where it may take its time.
    pub async fn with_recordings<T: Send + 'static>(
        &self,
        attached: Vec<Attached>,
        work: impl FnOnce(&Gathered) -> Result<T, Problem> + Send + 'static,
    ) -> Result<T, Problem> {
        let mut files = Vec::with_capacity(attached.len());
        for one in attached {
            let file = self.store.objects().open_file(&one.facts.columns).await?;
            files.push((one, file));
        }
        let troubles = files.iter().map(|(_, file)| file.trouble()).collect();
        self.aside_on(troubles, move || {
            let mut parts: Vec<(Attached, Box<dyn ReadColumns>)> = Vec::with_capacity(files.len());
            for (one, file) in files {
                parts.push((one, Box::new(Columns::open(Source(file))?)));
            }
            work(&Gathered::new(parts))
        })
        .await
    }
}
