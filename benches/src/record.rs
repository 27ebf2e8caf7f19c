//! A large record that could be real: the bench of the demo record, with 40 analysts, over ten years.
//!
//! The determinations are those of the demo (a base by phthalate with a spilled run and a corrected reading, a base by
//! a certified acid, vinegar by a base), played again and again with other people, bottles, lots, burettes and
//! readings; most vinegars are titrated in duplicate and approved without a certificate. Every step is decided, evaluated,
//! chained and hashed as the record itself does it; what comes out are events with their bodies, which `store::fill` checks
//! and takes in.

use notebook::decide::{Actor, Command, Draft, decide};
use notebook::demo::{self, Step};
use notebook::payload::{KnownBy, LotOpened, Payload, PersonAdded, Plan, Role, Slot};
use notebook::{Cause, Event, Hash, Kind, Moment, Node, Permissions, World, uuid_v7};

/// What is done with an event and its body.
pub type Sink<'a> = dyn FnMut(Event, String) -> Result<(), Failure> + 'a;

/// People who titrate.
pub const ANALYSTS: u64 = 40;
/// Burettes on the benches.
pub const BURETTES: u64 = 8;
/// Lots that follow one another on the shelf, of each of the two standards.
pub const LOTS: u64 = 2;
/// Days over which the record runs.
const DAYS: u64 = 3650;
/// Days after which new bottles are made.
const BOTTLE_DAYS: u64 = 30;
/// Bottles made at a time: half of them standardized by phthalate, half by the acid.
const BOTTLES: u64 = 4;
/// One vinegar in so many is titrated with a rough run and three more, reviewed and certified.
const CERTIFIED: u64 = 4;
/// Events of one determination with its sample, on the average; only spreads them over the years.
const EVENTS_EACH: u64 = 13;

/// Why no record was made.
pub type Failure = Box<dyn std::error::Error>;

/// What was made.
#[derive(Debug)]
pub struct Made {
    /// Events.
    pub events: u64,
    /// Determinations.
    pub determinations: u64,
    /// Determinations whose result rests on the lot [`busiest_lot`].
    pub on_lot: u64,
}

/// The lot that a correction is tried on: the acid of the first years.
///
/// # Errors
/// None; the name is sound.
pub fn busiest_lot() -> Result<Node, Failure> {
    node(Kind::Lot, "S-ACID-0")
}

fn node(kind: Kind, name: &str) -> Result<Node, Failure> {
    Ok(Node::new(kind, name)?)
}

struct Scribe<'a> {
    out: &'a mut Sink<'a>,
    world: World,
    number: u64,
    previous: Hash,
    now: Moment,
    dice: u64,
}

impl Scribe<'_> {
    /// Marsaglia's xorshift: numbers that differ.
    fn roll(&mut self, sides: u64) -> u64 {
        self.dice ^= self.dice << 13;
        self.dice ^= self.dice >> 7;
        self.dice ^= self.dice << 17;
        self.dice % sides
    }

    fn says(&mut self, who: &str, command: &Command) -> Result<(), Failure> {
        let milliseconds = 20_000 + self.roll(40_000);
        self.now = self.now.plus(i64::try_from(milliseconds)?);
        let actor = Actor {
            who: who.into(),
            at: self.now,
        };
        let key = format!("tablet/{}", self.number);
        for Draft { stream, payload } in
            decide(&self.world, Permissions::shipped(), &actor, command)?
        {
            let number = self.number + 1;
            let mut random = [0; 10];
            random[2..].copy_from_slice(&number.to_be_bytes());
            let event = Event {
                number,
                id: uuid_v7(self.now, random),
                at: self.now,
                who: who.into(),
                device: "bench 1".into(),
                cause: Cause {
                    command: Some(key.clone()),
                    event: None,
                },
                stream_version: self.world.version(&stream) + 1,
                stream,
                payload,
                previous: self.previous,
            };
            let body = event.body()?;
            self.world.apply(&event)?;
            self.previous = Hash::of(body.as_bytes());
            self.number = number;
            (self.out)(event, body)?;
        }
        Ok(())
    }

    /// Plays the steps of a determination of the demo again, with other names and readings.
    fn again(
        &mut self,
        steps: &[Step],
        who: &str,
        name: u64,
        plan: &Plan,
        burette: &Node,
    ) -> Result<(), Failure> {
        let on = node(Kind::Determination, &format!("D-{name:07}"))?;
        let sample = match plan {
            Plan::Assay { samples, .. } => samples.first().cloned(),
            Plan::Standardization { .. } => None,
        };
        // All readings of the determination a little higher or lower on the burette: the titres stay believable.
        let shift = self.roll(300) as f64 / 100.0;
        for step in steps {
            let mut command = step.command.clone();
            let reviewer = step.stamp.who == "fennel";
            match &mut command.payload {
                Payload::DeterminationOpened(p) => {
                    p.plan = plan.clone();
                    p.burette = burette.clone();
                    if let Some(sample) = &sample {
                        p.title = format!("Vinegar {}", sample.name());
                    }
                }
                Payload::RunStarted(p) => p.sample.clone_from(&sample),
                Payload::ReadingTaken(p) if matches!(p.reading, Slot::Initial | Slot::Final) => {
                    let half_drop = self.roll(3) as f64 / 100.0;
                    p.value = higher(&p.value, shift + half_drop)?;
                }
                Payload::ReadingCorrected(p) => p.value = higher(&p.value, shift)?,
                Payload::DeterminationApproved(p) => p.use_before = Some(self.now.day().plus(60)),
                Payload::CertificateIssued(p) => {
                    p.determination = on.clone();
                    p.replaces = None;
                }
                _ => {}
            }
            command.on = match command.on.kind() {
                Kind::Certificate => node(Kind::Certificate, &format!("C-{name:07}"))?,
                _ => on.clone(),
            };
            let own = command.on.clone();
            self.says(if reviewer { "fennel" } else { who }, &command)?;
            if own != on {
                self.world.forget(&own);
            }
        }
        // What is done is not needed any more, unless something rests on it.
        if sample.is_some() {
            self.world.forget(&on);
        }
        Ok(())
    }
}

/// A reading that much higher, with the decimals as they were.
fn higher(written: &str, by: f64) -> Result<String, Failure> {
    let (number, unit) = written.split_once(' ').ok_or("a reading without a unit")?;
    let decimals = number.split_once('.').map_or(0, |(_, d)| d.len());
    let value: f64 = number.parse()?;
    Ok(format!("{:.decimals$} {unit}", value + by))
}

/// The steps of a vinegar in duplicate, approved at once: without the rough run and the last one.
fn in_duplicate(steps: &[Step]) -> Vec<Step> {
    let mut steps = steps.to_vec();
    steps.retain_mut(|step| {
        let run = match &mut step.command.payload {
            Payload::RunStarted(p) => &mut p.run,
            Payload::ReadingTaken(p) => &mut p.run,
            Payload::DeterminationOpened(_)
            | Payload::DeterminationClosed(_)
            | Payload::DeterminationApproved(_) => return true,
            _ => return false,
        };
        let kept = (2..=3).contains(run);
        *run = run.saturating_sub(1);
        kept
    });
    steps
}

/// Makes about that many events.
///
/// # Errors
/// If the demo's steps are refused, or the sink refuses.
pub fn write<'a>(events: u64, first_day: Moment, out: &'a mut Sink<'a>) -> Result<Made, Failure> {
    let steps = demo::script(7, first_day)?;
    let of = |name: &str| -> Vec<Step> {
        let certificate = name.replace('D', "C");
        let own = steps.iter().filter(|step| {
            let on = step.command.on.name();
            on == name || on == certificate
        });
        own.cloned().collect()
    };
    let (by_phthalate, by_acid, vinegar) = (of("D-0001"), of("D-0002"), of("D-0003"));
    let duplicate = in_duplicate(&vinegar);
    let mut scribe = Scribe {
        out,
        world: World::default(),
        number: 0,
        previous: Hash::ZERO,
        now: first_day,
        dice: 88_172_645_463_325_252,
    };
    let found = |name: &str| {
        steps
            .iter()
            .find(|step| step.command.on.name() == name)
            .map(|step| step.command.clone())
            .ok_or_else(|| format!("the demo has no {name}"))
    };
    shelf(&mut scribe, &steps, &found("S-0107")?, &found("S-0041")?)?;
    let prepared = found("T-0117")?;
    let received = found("V-231")?;

    let determinations = events / EVENTS_EACH;
    let mut bottle_age = None;
    let mut bottles: Vec<Node> = Vec::new();
    let (mut done, mut on_lot) = (0, 0);
    while scribe.number < events {
        let day = (done * DAYS / determinations.max(1)).min(DAYS - 1);
        let morning = first_day.plus(i64::try_from(day + 1)? * 86_400_000);
        if scribe.now.milliseconds() < morning.milliseconds() {
            scribe.now = morning;
        }
        let who = format!("analyst-{:02}", scribe.roll(ANALYSTS));
        let burette = node(
            Kind::Apparatus,
            &format!("B-{}", 11 + scribe.roll(BURETTES)),
        )?;
        let epoch = day / BOTTLE_DAYS;
        if bottle_age != Some(epoch) {
            bottle_age = Some(epoch);
            bottles.clear();
            for index in 0..BOTTLES {
                let name = format!("T-{:05}", epoch * BOTTLES + index);
                let bottle = node(Kind::Solution, &name)?;
                let use_before = Some(scribe.now.day().plus(90));
                let mut command = prepared.clone();
                command.on = bottle.clone();
                if let Payload::SolutionPrepared(p) = &mut command.payload {
                    p.use_before = use_before;
                }
                scribe.says(&who, &command)?;
                let lot = day * LOTS / DAYS;
                let acid = index % 2 == 1;
                let (script, standard) = if acid {
                    (&by_acid, "ACID")
                } else {
                    (&by_phthalate, "KHP")
                };
                let plan = standardization(
                    script,
                    &bottle,
                    node(Kind::Lot, &format!("S-{standard}-{lot}"))?,
                )?;
                done += 1;
                on_lot += u64::from(acid && lot == 0);
                scribe.again(script, &who, done, &plan, &burette)?;
                bottles.push(bottle);
            }
        }
        let index = scribe.roll(BOTTLES);
        let bottle = bottles[usize::try_from(index)?].clone();
        done += 1;
        let sample = node(Kind::Sample, &format!("V-{done:07}"))?;
        let mut command = received.clone();
        command.on = sample.clone();
        scribe.says(&who, &command)?;
        let plan = assay(&vinegar, bottle, sample.clone())?;
        on_lot += u64::from(index % 2 == 1 && day * LOTS / DAYS == 0);
        let steps = match done % CERTIFIED {
            0 => &vinegar,
            _ => &duplicate,
        };
        scribe.again(steps, &who, done, &plan, &burette)?;
        scribe.world.forget(&sample);
    }
    Ok(Made {
        events: scribe.number,
        determinations: done,
        on_lot,
    })
}

/// People, methods, rules, apparatus and lots.
fn shelf(
    scribe: &mut Scribe<'_>,
    steps: &[Step],
    acid: &Command,
    phthalate: &Command,
) -> Result<(), Failure> {
    let founded = steps
        .iter()
        .take_while(|step| step.command.on.kind() != Kind::Determination);
    for step in founded {
        if matches!(step.command.on.kind(), Kind::Solution | Kind::Sample) {
            continue;
        }
        let mut command = step.command.clone();
        last_for_years(&mut command);
        scribe.says("fennel", &command)?;
        // The benches have burettes of one kind.
        if command.on.name() == "B-3" {
            for index in 0..BURETTES {
                command.on = node(Kind::Apparatus, &format!("B-{}", 11 + index))?;
                scribe.says("fennel", &command)?;
            }
        }
    }
    for index in 0..ANALYSTS {
        let name = format!("Analyst {index}");
        let roles = vec![Role::Analyst];
        let on = node(Kind::Person, &format!("analyst-{index:02}"))?;
        scribe.says("fennel", &Command::new(on, PersonAdded { name, roles }))?;
    }
    for (received, standard) in [(acid, "ACID"), (phthalate, "KHP")] {
        for index in 0..LOTS {
            let mut command = received.clone();
            command.on = node(Kind::Lot, &format!("S-{standard}-{index}"))?;
            last_for_years(&mut command);
            scribe.says("fennel", &command)?;
            let opened = Command::new(command.on, LotOpened { expires: None });
            scribe.says("fennel", &opened)?;
        }
    }
    Ok(())
}

/// The shelf of the demo serves for all the years.
fn last_for_years(command: &mut Command) {
    match &mut command.payload {
        Payload::LotReceived(p) => p.expires = None,
        Payload::ApparatusRegistered(p) => p.due = None,
        Payload::ApparatusCalibrated(p) => p.due = None,
        _ => {}
    }
}

fn plan_of(steps: &[Step]) -> Result<Plan, Failure> {
    steps
        .iter()
        .find_map(|step| match &step.command.payload {
            Payload::DeterminationOpened(p) => Some(p.plan.clone()),
            _ => None,
        })
        .ok_or_else(|| "the demo's determination is not opened".into())
}

fn standardization(steps: &[Step], bottle: &Node, lot: Node) -> Result<Plan, Failure> {
    let mut plan = plan_of(steps)?;
    if let Plan::Standardization { sought, known, .. } = &mut plan {
        *sought = bottle.clone();
        *known = KnownBy::Lot(lot);
    }
    Ok(plan)
}

fn assay(steps: &[Step], bottle: Node, sample: Node) -> Result<Plan, Failure> {
    let mut plan = plan_of(steps)?;
    if let Plan::Assay {
        titrant, samples, ..
    } = &mut plan
    {
        titrant.known = KnownBy::Solution {
            solution: bottle,
            by: None,
        };
        *samples = vec![sample];
    }
    Ok(plan)
}
