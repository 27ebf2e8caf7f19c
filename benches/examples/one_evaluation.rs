//! How long it takes to evaluate the determinations of the demo record, from the fold to what is written down of them:
//! `cargo run --release -p benches --example one_evaluation [TIMES]`.

use notebook::ledger::Ledger;
use notebook::{Evaluator, Event, Kind, demo};
use std::error::Error;
use std::hint::black_box;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let times: u32 = std::env::args().nth(1).map_or(Ok(300), |n| n.parse())?;
    let mut ledger = Ledger::default();
    for step in demo::script(7, "2016-01-04T08:00:00+01:00".parse()?)? {
        ledger.submit(&step.stamp, &step.command)?;
    }
    let world = ledger.world();
    let computed: Vec<_> = world
        .nodes()
        .filter(|node| node.kind() == Kind::Determination)
        .filter(|node| Evaluator::new(world).evaluate(node).is_ok())
        .collect();
    for node in computed {
        let start = Instant::now();
        for _ in 0..times {
            let outcome = Evaluator::new(world).evaluate(black_box(node))?;
            black_box(outcome.evaluated());
        }
        println!("{node}: {:.1} us", micros(start, times));
        let mut evaluator = Evaluator::new(world);
        let start = Instant::now();
        for _ in 0..times {
            black_box(evaluator.evaluate(black_box(node))?.evaluated());
        }
        println!(
            "  with what it rests on at hand: {:.1} us",
            micros(start, times)
        );
    }
    let start = Instant::now();
    for _ in 0..times {
        for (body, _) in ledger.bodies() {
            black_box(Event::read(black_box(body))?);
        }
    }
    let each = micros(start, times) / ledger.bodies().len() as f64;
    println!("reading an event: {each:.2} us");
    Ok(())
}

fn micros(start: Instant, times: u32) -> f64 {
    start.elapsed().as_secs_f64() * 1e6 / f64::from(times)
}
