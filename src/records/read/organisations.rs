//! Organisations as papers name them.

use crate::Store;
use crate::catalogue::{As, OrganisationRole, Organisations, Paper};
use crate::error::Result;
use crate::read::Found;

/// The organisations whose role is *own*: a paper bears the letterhead of the one, where there is one.
#[derive(Debug)]
pub enum Own {
    None,
    One(Box<Found>),
    /// Their tags: which of them makes a paper is not known.
    Several(Vec<String>),
}

impl Own {
    /// The one.
    pub fn one(&self) -> Option<As<'_, Organisations>> {
        match self {
            Self::One(found) => found.record.of::<Organisations>(),
            _ => None,
        }
    }

    /// The paper that it prints on; A4 where none is named.
    pub fn paper(&self) -> Paper {
        self.one().and_then(|own| own.get(Organisations::paper)).unwrap_or(Paper::A4)
    }
}

impl Store {
    /// The shop itself.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn own_organisation(&self) -> Result<Own> {
        let all = self.rows::<Organisations>()?;
        let own = all.iter().filter(|o| o.get(Organisations::role) == Some(OrganisationRole::Own));
        let tags: Vec<String> = own.map(|o| o.address()).collect();
        match tags.as_slice() {
            [] => Ok(Own::None),
            [one] => Ok(Own::One(Box::new(self.find(one)?))),
            _ => Ok(Own::Several(tags)),
        }
    }
}
