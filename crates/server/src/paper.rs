//! What is kept on paper: certificates, labels and worked solutions out of a record, for the pages and for the command line.

use certificate::{CertificateError, CertificateSheet, LabelSheet, Standing, WorkingSheet};
use notebook::state::Determination;
use notebook::{EvaluateError, Evaluator, Event, Kind, Node, Payload};
use store::{Store, StoreError};
use thiserror::Error;

/// Why nothing can be printed.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PaperError {
    /// The record cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The determination gives no result yet.
    #[error(transparent)]
    Evaluate(#[from] EvaluateError),
    /// The certificate or label cannot be made.
    #[error(transparent)]
    Certificate(#[from] CertificateError),
}

/// The sheet of a certificate as it was issued, marked with whether it holds now; and the event that issued it.
///
/// # Errors
/// [`PaperError`].
pub async fn certificate_sheet(
    store: &Store,
    node: &Node,
) -> Result<(CertificateSheet, Event), PaperError> {
    let missing = || CertificateError::Missing(node.clone());
    let events = store.history(node, 0).await?;
    let issued = events.into_iter().next().ok_or_else(missing)?;
    let Payload::CertificateIssued(payload) = &issued.payload else {
        return Err(missing().into());
    };
    let mut wanted = vec![node.clone()];
    let known = store.world_as_of(&wanted, issued.number).await?;
    if let Some(determination) = known.determination(&payload.determination) {
        wanted.extend(people(determination, &issued.who));
    }
    let then = store.world_as_of(&wanted, issued.number).await?;
    let outcome = Evaluator::new(&then).evaluate(&payload.determination);
    let now = store.world(std::slice::from_ref(node)).await?;
    let certificate = now.certificate(node).ok_or_else(missing)?;
    let standing = Standing::of(certificate, store.successor(node).await?);
    let sheet = CertificateSheet::of(&then, &issued, outcome.ok().as_ref(), standing)?;
    Ok((sheet, issued))
}

/// Those whose printed names a certificate shows.
fn people(determination: &Determination, issuer: &str) -> Vec<Node> {
    let signed = determination
        .reviewed
        .iter()
        .chain(&determination.approved)
        .map(|s| &s.who);
    let done = determination.runs.iter().map(|run| &run.who);
    let mut names: Vec<&str> = signed
        .chain(done)
        .map(String::as_str)
        .chain([determination.who.as_str(), issuer])
        .collect();
    names.sort_unstable();
    names.dedup();
    names
        .into_iter()
        .filter_map(|name| Node::new(Kind::Person, name).ok())
        .collect()
}

/// The worked solution of a determination, with its runs.
///
/// # Errors
/// [`PaperError`].
pub async fn working_sheet(store: &Store, node: &Node) -> Result<WorkingSheet, PaperError> {
    let evaluation = store.evaluate(node).await?;
    if evaluation.world.determination(node).is_none() {
        return Err(CertificateError::Missing(node.clone()).into());
    }
    let outcome = evaluation.outcome?;
    Ok(WorkingSheet::of(&evaluation.world, node, &outcome)?)
}

/// A worked solution as one HTML file.
pub fn working_html(sheet: &WorkingSheet) -> String {
    crate::page::working::document(sheet)
}

/// The label of a solution.
///
/// # Errors
/// [`PaperError`].
pub async fn label_sheet(store: &Store, node: &Node) -> Result<LabelSheet, PaperError> {
    let world = store.world(std::slice::from_ref(node)).await?;
    Ok(LabelSheet::of(&world, node)?)
}
