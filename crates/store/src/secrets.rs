//! Setting passphrases and codes: who may, and what it takes.

use crate::accounts::{CODE_DIGITS, LEAST_PASSPHRASE, Secret, blocking, hash};
use crate::error::StoreError;
use crate::list::Filter;
use crate::store::Store;
use notebook::payload::{Role, SecretSet};
use notebook::{Kind, Node, Refusal, World, decide};

/// A secret that somebody wants to be set.
#[derive(Clone, Copy, Debug)]
pub struct NewSecret<'a> {
    /// Whose.
    pub person: &'a str,
    /// Which.
    pub which: Secret,
    /// The new one.
    pub secret: &'a str,
    /// The present passphrase of who sets it.
    pub present: &'a str,
}

impl Store {
    /// Sets a secret for who asks. In a shared record that takes a session begun with the passphrase and the passphrase
    /// once more; a keeper may set another person's. Before a record is shared only who has a passphrase already is asked
    /// for it.
    ///
    /// # Errors
    /// [`Refusal::ByCode`], [`Refusal::NotPermitted`]; as [`Self::prove`] and [`Self::set_secret`].
    pub async fn change_secret(
        &self,
        by: &str,
        device: &str,
        session: Option<Secret>,
        new: &NewSecret<'_>,
    ) -> Result<(), StoreError> {
        match session {
            Some(begun) => {
                if let Err(refusal) = self.may_set(by, begun, new.person).await {
                    self.refused(by, device, new.person, "secret-set", &refusal.to_string())
                        .await?;
                    return Err(refusal);
                }
                self.prove(by, device, Secret::Passphrase, new.present)
                    .await?;
            }
            None if self.has_passphrase(new.person).await? => {
                self.prove(new.person, device, Secret::Passphrase, new.present)
                    .await?;
            }
            None => {}
        }
        self.set_secret(by, device, new.person, new.which, new.secret)
            .await
    }

    async fn may_set(&self, by: &str, begun: Secret, person: &str) -> Result<(), StoreError> {
        if begun == Secret::Code {
            return Err(Refusal::ByCode(by.into()).into());
        }
        let node = decide::person(by)?;
        let world = self.world(std::slice::from_ref(&node)).await?;
        if by != person && !keeps(&world, &node) {
            return Err(Refusal::NotPermitted {
                who: by.into(),
                kind: "secret-set".into(),
                roles: Role::Keeper.word().into(),
            }
            .into());
        }
        Ok(())
    }

    /// True if the person has a passphrase.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn has_passphrase(&self, person: &str) -> Result<bool, StoreError> {
        let mut db = self.pool().acquire().await?;
        Ok(crate::keepers::with_passphrase(&mut db)
            .await?
            .iter()
            .any(|name| name == person))
    }

    /// The people who keep the record now.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn keepers(&self) -> Result<Vec<String>, StoreError> {
        let mut keepers = Vec::new();
        let mut filter = Filter {
            kind: Some(Kind::Person),
            limit: Some(200),
            ..Filter::default()
        };
        loop {
            let page = self.list(&filter).await?;
            let nodes: Vec<Node> = page.things.into_iter().map(|thing| thing.node).collect();
            let world = self.world(&nodes).await?;
            let names = nodes.iter().filter(|node| keeps(&world, node));
            keepers.extend(names.map(|node| node.name().to_string()));
            filter.after = page.next;
            if filter.after.is_none() {
                keepers.sort();
                return Ok(keepers);
            }
        }
    }

    /// True if a keeper has a passphrase, so that somebody can be let in.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn has_keeper(&self) -> Result<bool, StoreError> {
        let mut db = self.pool().acquire().await?;
        let names = crate::keepers::with_passphrase(&mut db).await?;
        drop(db);
        let keepers = self.keepers().await?;
        Ok(names.iter().any(|name| keepers.contains(name)))
    }

    /// Sets a person's secret. Who may do that for whom is asked before; the event tells that it was done, not what it is.
    ///
    /// # Errors
    /// [`StoreError::WeakSecret`], [`Refusal::Missing`], [`Refusal::Left`].
    pub async fn set_secret(
        &self,
        by: &str,
        device: &str,
        person: &str,
        which: Secret,
        secret: &str,
    ) -> Result<(), StoreError> {
        let node = Node::new(Kind::Person, person).map_err(|_| Refusal::Unknown(person.into()))?;
        let world = self.world(std::slice::from_ref(&node)).await?;
        let Some(found) = world.person(&node) else {
            return Err(Refusal::Missing(node).into());
        };
        if let Some(reason) = &found.left {
            return Err(Refusal::Left {
                who: person.into(),
                reason: reason.clone(),
            }
            .into());
        }
        strong(which, secret)?;
        let mut salt = [0; 16];
        self.outside().random(&mut salt);
        let secret = secret.to_string();
        let hash = blocking(move || hash(&secret, &salt)).await??;
        sqlx::query(
            "INSERT INTO secret (person, which, hash, failures, locked_until_ms) VALUES ($1, $2, $3, 0, 0)
             ON CONFLICT (person, which) DO UPDATE SET hash = excluded.hash, failures = 0, locked_until_ms = 0",
        )
        .bind(person)
        .bind(which.word())
        .bind(hash)
        .execute(self.pool())
        .await?;
        let set = SecretSet {
            which: which.word().into(),
        };
        self.note(person, by, device, set).await
    }
}

/// True if the person keeps the record now.
pub(crate) fn keeps(world: &World, node: &Node) -> bool {
    world
        .person(node)
        .is_some_and(|p| p.roles.contains(&Role::Keeper) && p.left.is_none())
}

fn strong(which: Secret, secret: &str) -> Result<(), StoreError> {
    let weak = |why: String| Err(StoreError::WeakSecret(why));
    match which {
        Secret::Passphrase if secret.chars().count() < LEAST_PASSPHRASE => weak(format!(
            "a passphrase has at least {LEAST_PASSPHRASE} characters; a few words are easier to keep than signs"
        )),
        Secret::Code
            if !CODE_DIGITS.contains(&secret.len())
                || !secret.bytes().all(|b| b.is_ascii_digit())
                || secret.bytes().all(|b| b == secret.as_bytes()[0]) =>
        {
            weak("a code has 4 to 8 digits, not all the same".into())
        }
        _ => Ok(()),
    }
}
