//! The traceability graph: what a thing is made of, and what rests on it.
//!
//! Every event says which threads it ties; [`edges`] reads them off. A thread that *carries a value* passes a correction
//! on; the others only tell where something comes from.

use crate::event::Event;
use crate::node::{Kind, Node};
use crate::payload::{DeterminationOpened, Ingredient, KnownBy, Payload, Plan, Source};
use crate::state::{State, World};
use serde::Serialize;
use std::collections::HashMap;

macro_rules! hows {
    ($($(#[$doc:meta])* $how:ident $word:literal $carries:literal,)*) => {
        /// How a thing rests on another.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
        #[serde(rename_all = "kebab-case")]
        pub enum How { $($(#[$doc])* $how,)* }

        impl How {
            /// All ways.
            pub const ALL: &'static [Self] = &[$(Self::$how,)*];

            /// In words, between the two things.
            pub fn word(self) -> &'static str {
                match self { $(Self::$how => $word,)* }
            }

            /// True if a correction of the one changes the value of the other.
            pub fn carries_value(self) -> bool {
                match self { $(Self::$how => $carries,)* }
            }
        }
    };
}

hows! {
    /// A solution was made of a lot or of another solution.
    MadeOf "made of" false,
    /// A piece of apparatus was used in making a solution.
    MadeWith "made with" false,
    /// The concentration of a solution was found by a determination.
    StandardizedBy "standardized by" false,
    /// A determination seeks the concentration of a solution.
    Seeks "seeks the concentration of" false,
    /// A determination takes its value from the certificate of a lot.
    KnownBy "takes its value from" true,
    /// A determination takes its value from the result of another.
    ResultOf "takes the result of" true,
    /// A determination compares its titrant with the result of another.
    ComparedWith "compares its titrant with" false,
    /// A determination uses a solution.
    Uses "uses" false,
    /// A determination was read or measured with a piece of apparatus.
    MeasuredWith "measured with" true,
    /// A determination is about a sample.
    About "is about" true,
    /// A determination goes by a method.
    ByMethod "goes by" true,
    /// A determination is judged by a rule profile.
    JudgedBy "is judged by" false,
    /// A certificate states a determination.
    States "states" true,
    /// A certificate replaces another.
    Replaces "replaces" false,
}

/// One thread of the graph.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Edge {
    /// What rests.
    pub what: Node,
    /// On what it rests.
    pub on: Node,
    /// How.
    pub how: How,
}

/// The threads that an event ties.
pub fn edges(event: &Event) -> Vec<Edge> {
    tied(&event.stream, &event.payload)
}

fn tied(stream: &Node, payload: &Payload) -> Vec<Edge> {
    let mut edges = Vec::new();
    let mut tie = |on: &Node, how: How| {
        let edge = Edge {
            what: stream.clone(),
            on: on.clone(),
            how,
        };
        if !edges.contains(&edge) {
            edges.push(edge);
        }
    };
    match payload {
        Payload::SolutionPrepared(p) => {
            ingredients(&p.made_of, &mut tie);
            for piece in &p.apparatus {
                tie(piece, How::MadeWith);
            }
        }
        Payload::SolutionToppedUp(p) => ingredients(&p.with, &mut tie),
        Payload::SolutionStandardized(p) => tie(&p.determination, How::StandardizedBy),
        Payload::DeterminationOpened(p) => opened(p, &mut tie),
        Payload::TitrantRechecked(p) => tie(&p.by, How::ComparedWith),
        Payload::CertificateIssued(p) => {
            tie(&p.determination, How::States);
            if let Some(old) = &p.replaces {
                tie(old, How::Replaces);
            }
        }
        _ => {}
    }
    edges
}

fn ingredients(made_of: &[Ingredient], tie: &mut impl FnMut(&Node, How)) {
    for ingredient in made_of {
        tie(&ingredient.from, How::MadeOf);
    }
}

/// The threads that a determination ties when it is opened.
fn opened(p: &DeterminationOpened, tie: &mut impl FnMut(&Node, How)) {
    match &p.plan {
        Plan::Standardization { sought, known, .. } => {
            tie(sought, How::Seeks);
            known_by(known, tie);
        }
        Plan::Assay {
            method,
            titrant,
            reagents,
            samples,
            ..
        } => {
            tie(method, How::ByMethod);
            for Source { known, .. } in std::iter::once(titrant).chain(reagents.values()) {
                known_by(known, tie);
            }
            for sample in samples {
                tie(sample, How::About);
            }
        }
    }
    let pieces = std::iter::once(&p.burette)
        .chain(&p.pipette)
        .chain(&p.balance)
        .chain(p.pieces.values());
    for piece in pieces {
        tie(piece, How::MeasuredWith);
    }
    if let Some(rules) = &p.rules {
        tie(rules, How::JudgedBy);
    }
}

fn known_by(known: &KnownBy, tie: &mut impl FnMut(&Node, How)) {
    match known {
        KnownBy::Lot(lot) => tie(lot, How::KnownBy),
        KnownBy::Solution { solution, by } => {
            tie(solution, How::Uses);
            if let Some(by) = by {
                tie(by, How::ResultOf);
            }
        }
    }
}

/// The things that a payload names.
pub fn references(payload: &Payload) -> Vec<Node> {
    // The stream does not matter to the threads' other ends.
    let edges = tied(&Node::record(), payload).into_iter();
    let mut nodes: Vec<Node> = edges.map(|edge| edge.on).collect();
    match payload {
        Payload::CertificateSuperseded(p) => nodes.extend(p.by.clone()),
        Payload::RunStarted(p) => nodes.extend(p.sample.clone()),
        Payload::TitrantRechecked(p) => nodes.push(p.after.clone()),
        _ => {}
    }
    nodes
}

/// What must be known to evaluate or judge a thing: what it names, and the determinations that it takes results of.
pub fn upstream(world: &World, node: &Node) -> Vec<Node> {
    match world.state(node) {
        Some(State::Determination(determination)) => {
            let mut nodes = Vec::new();
            opened(&determination.opened, &mut |on: &Node, _| {
                if !nodes.contains(on) {
                    nodes.push(on.clone());
                }
            });
            nodes.extend(determination.rechecks.iter().map(|r| r.by.clone()));
            nodes
        }
        Some(State::Certificate(certificate)) => vec![certificate.issued.determination.clone()],
        _ => Vec::new(),
    }
}

/// Things in an order in which each comes after all that it rests on, among those given. Rings, which the record does
/// not let arise, are cut where they are met.
pub fn in_order(edges: &[Edge]) -> Vec<Node> {
    // By places instead of names: there may be very many.
    let mut places: HashMap<&Node, usize> = HashMap::new();
    let mut nodes: Vec<&Node> = Vec::new();
    let mut rests: Vec<Vec<usize>> = Vec::new();
    let mut place = |node| {
        *places.entry(node).or_insert_with(|| {
            nodes.push(node);
            nodes.len() - 1
        })
    };
    for edge in edges {
        let (what, on) = (place(&edge.what), place(&edge.on));
        rests.resize_with(rests.len().max(what.max(on) + 1), Vec::new);
        rests[what].push(on);
    }
    let mut starts: Vec<usize> = (0..nodes.len()).collect();
    starts.sort_unstable_by_key(|at| nodes[*at]);
    let mut order = Vec::with_capacity(nodes.len());
    let mut seen = vec![false; nodes.len()];
    for start in starts {
        // Depth first without recursion: a long history must not use up the stack.
        let mut stack = vec![(start, 0)];
        if std::mem::replace(&mut seen[start], true) {
            continue;
        }
        while let Some((node, at)) = stack.pop() {
            match rests[node].get(at) {
                Some(next) => {
                    stack.push((node, at + 1));
                    if !std::mem::replace(&mut seen[*next], true) {
                        stack.push((*next, 0));
                    }
                }
                None => order.push(nodes[node].clone()),
            }
        }
    }
    order
}

/// True if the thing has a value that may change when something beneath it is corrected.
pub fn is_computed(node: &Node) -> bool {
    node.kind() == Kind::Determination
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_comes_after_what_it_rests_on() {
        let edge = |what: &str, on: &str| Edge {
            what: format!("determination/{what}").parse().unwrap(),
            on: format!("determination/{on}").parse().unwrap(),
            how: How::ResultOf,
        };
        let edges = [
            edge("a", "z"),
            edge("m", "a"),
            edge("b", "m"),
            edge("b", "a"),
        ];
        let order: Vec<String> = in_order(&edges).iter().map(|n| n.name().into()).collect();
        assert_eq!(order, ["z", "a", "m", "b"]);
        // A ring ends.
        assert_eq!(in_order(&[edge("a", "b"), edge("b", "a")]).len(), 2);
    }
}
