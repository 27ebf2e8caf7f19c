//! What a correction brought about, old beside new; and what took the place of a certificate.

use crate::error::StoreError;
use crate::list::in_words;
use crate::store::{Notice, Store};
use crate::trace;
use notebook::graph::How;
use notebook::payload::{CorrectionSettled, DeterminationRecomputed, Plan};
use notebook::state::CertificateStatus;
use notebook::{Event, Node, Payload};
use serde::Serialize;
use std::collections::BTreeMap;

/// Dependents that are listed; more are counted.
const MOST: usize = 2_000;
/// Events that are read at a time.
const AT_A_TIME: u32 = 1_000;

/// A correction with what came of it.
#[derive(Clone, Debug, Serialize)]
pub struct Corrected {
    /// The event that corrected.
    #[serde(skip)]
    pub event: Event,
    /// Determinations that came out otherwise, each after those that it rests on.
    pub changes: Vec<Recomputed>,
    /// How many in all; none while they are still computed.
    pub settled: Option<CorrectionSettled>,
}

/// A determination that came out otherwise.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Recomputed {
    /// The determination.
    pub determination: Node,
    /// Number of the event that says so.
    pub event: u64,
    /// What it was, what it is.
    #[serde(flatten)]
    pub change: DeterminationRecomputed,
    /// Certificates that hold no more since then.
    pub superseded: Vec<Node>,
}

impl Store {
    /// What came of a correction; none if the event of this number corrects nothing.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn correction(&self, number: u64) -> Result<Option<Corrected>, StoreError> {
        let Some(event) = self.event(number).await? else {
            return Ok(None);
        };
        if !notebook::cascade::corrects(&event.payload) {
            return Ok(None);
        }
        let nothing_rests = matches!(event.payload, Payload::DeterminationApproved(_))
            && self.dependents(&event.stream).await?.is_empty();
        let mut found = Corrected {
            event,
            changes: Vec::new(),
            settled: None,
        };
        if nothing_rests {
            return Ok(Some(found));
        }
        let mut superseded: BTreeMap<Node, Node> = BTreeMap::new();
        let mut after = number;
        'all: loop {
            let events = self.events(after, AT_A_TIME).await?;
            let Some(last) = events.last() else { break };
            after = last.number;
            for event in events {
                match event.payload {
                    Payload::DeterminationRecomputed(p)
                        if p.because == number && found.changes.len() < MOST =>
                    {
                        found.changes.push(Recomputed {
                            determination: event.stream,
                            event: event.number,
                            change: *p,
                            superseded: Vec::new(),
                        });
                    }
                    Payload::CertificateSuperseded(p) if p.because == Some(number) => {
                        let world = self.world(std::slice::from_ref(&event.stream)).await?;
                        if let Some(certificate) = world.certificate(&event.stream) {
                            superseded
                                .insert(event.stream, certificate.issued.determination.clone());
                        }
                    }
                    Payload::CorrectionSettled(p) if p.because == number => {
                        found.settled = Some(*p);
                        break 'all;
                    }
                    _ => {}
                }
            }
        }
        for (certificate, determination) in superseded {
            let mut of = found.changes.iter_mut();
            if let Some(change) = of.find(|c| c.determination == determination) {
                change.superseded.push(certificate);
            }
        }
        Ok(Some(found))
    }

    /// What a determination was and is by each correction beneath it, the latest last.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn recomputed(&self, determination: &Node) -> Result<Vec<Recomputed>, StoreError> {
        let history = self.history(determination, 0).await?;
        let mut changes: Vec<Recomputed> = history
            .into_iter()
            .filter_map(|event| match event.payload {
                Payload::DeterminationRecomputed(p) => Some(Recomputed {
                    determination: event.stream,
                    event: event.number,
                    change: *p,
                    superseded: Vec::new(),
                }),
                _ => None,
            })
            .collect();
        if changes.is_empty() {
            return Ok(changes);
        }
        for certificate in self.certificates(determination).await? {
            for event in self.history(&certificate, 0).await? {
                if let Payload::CertificateSuperseded(p) = event.payload
                    && let Some(change) = changes
                        .iter_mut()
                        .find(|c| Some(c.change.because) == p.because)
                {
                    change.superseded.push(certificate.clone());
                }
            }
        }
        Ok(changes)
    }

    /// A notice with what it is about.
    pub(crate) async fn notice(
        &self,
        number: u64,
        node: Node,
        text: String,
    ) -> Result<Notice, StoreError> {
        let found = self.recomputed(&node).await?.into_iter();
        let change = found.into_iter().find(|change| change.event == number);
        let mut notice = Notice {
            number,
            node,
            text,
            because: 0,
            was: None,
            now: None,
            flips: false,
            superseded: Vec::new(),
        };
        let Some(Recomputed {
            change, superseded, ..
        }) = change
        else {
            return Ok(notice);
        };
        notice.because = change.because;
        notice.was = in_words(&change.was);
        notice.now = change.now.as_ref().and_then(in_words);
        notice.flips = change.flips;
        notice.superseded = superseded;
        let was = notice.was.as_deref().unwrap_or("no result");
        let now = notice.now.as_deref().unwrap_or("no result");
        let mut said = format!(" (event {}): {was} -> {now}", change.because);
        if !notice.superseded.is_empty() {
            let names: Vec<&str> = notice.superseded.iter().map(Node::name).collect();
            said.push_str(&format!("; superseded: {}", names.join(", ")));
        }
        notice.text.push_str(&said);
        Ok(notice)
    }

    /// The certificates that state a determination.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn certificates(&self, determination: &Node) -> Result<Vec<Node>, StoreError> {
        let mut db = self.pool().acquire().await?;
        let mut found = trace::certificates_of(&mut db, &[determination]).await?;
        Ok(found.remove(determination).unwrap_or_default())
    }

    /// What took the place of a certificate that was superseded: one that names it, or the latest that was issued after it
    /// of the same determination, or else of the same bottle.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn successor(&self, certificate: &Node) -> Result<Option<Node>, StoreError> {
        let world = self.world(std::slice::from_ref(certificate)).await?;
        let Some(state) = world.certificate(certificate) else {
            return Ok(None);
        };
        match &state.status {
            CertificateStatus::Superseded { by: Some(by), .. } => return Ok(Some(by.clone())),
            CertificateStatus::Superseded { by: None, .. } => {}
            CertificateStatus::Current | CertificateStatus::Withdrawn { .. } => return Ok(None),
        }
        let of = &state.issued.determination;
        let mut nearest = vec![of.clone()];
        let plan = world.determination(of).map(|d| &d.opened.plan);
        if let Some(Plan::Standardization { sought, .. }) = plan {
            let above = self.rests_on(sought).await?.threads.into_iter();
            let seeks = above.filter(|(_, edge)| edge.how == How::Seeks && edge.on == *sought);
            nearest.extend(seeks.map(|(_, e)| e.what).filter(|what| what != of));
        }
        let number = self.issued(certificate).await?;
        let mut best: Option<(bool, u64, Node)> = None;
        for determination in nearest {
            for other in self.certificates(&determination).await? {
                let later = self.issued(&other).await?;
                let rank = (determination == *of, later);
                let better = best
                    .as_ref()
                    .is_none_or(|(same, at, _)| rank > (*same, *at));
                if later > number && better {
                    best = Some((rank.0, rank.1, other));
                }
            }
        }
        Ok(best.map(|(.., node)| node))
    }

    /// Number of the event that issued a certificate.
    async fn issued(&self, certificate: &Node) -> Result<u64, StoreError> {
        let first = self.history(certificate, 0).await?.into_iter().next();
        Ok(first.map_or(0, |event| event.number))
    }
}
