//! A day with all that is made of its list, to be broken and verified.

use baypack::allocate::{Allocation, Cooling, OutletHold, allocate};
use baypack::plan::{DayPlan, plan};
use baypack::survey::{Caution, survey};
use baypack::validate::DayList;
use baypack::verify::{Breach, Promise, verify};

use super::{cytotoxic, day_list, hair_loss, regimen, seated_in, unit, visit};

/// A day with all that is made of it.
#[derive(Clone, Debug)]
pub struct Day {
    pub list: DayList,
    pub plan: DayPlan,
    pub allocation: Allocation,
    pub cautions: Vec<Caution>,
}

impl Day {
    /// Plans, allocates and surveys a list.
    pub fn made_from(list: DayList) -> Self {
        let plan = plan(&list);
        let allocation = allocate(&list, &plan);
        let cautions = survey(&list, &plan, &allocation);
        Self { list, plan, allocation, cautions }
    }

    /// The same for a list that is known to be verified.
    pub fn of(list: DayList) -> Self {
        let day = Self::made_from(list);
        assert_eq!(day.breaches(), [], "the day is right before it is broken");
        day
    }

    /// What verification refuses in it.
    pub fn breaches(&self) -> Vec<Breach> {
        let Self { list, plan, allocation, cautions } = self.clone();
        verify(list, plan, allocation, cautions).err().unwrap_or_default()
    }

    /// The outlet of a visit that has one, to be changed.
    pub fn hold(&mut self, visit: usize) -> &mut OutletHold {
        match &mut self.allocation.visits[visit] {
            Cooling::Outlet(hold) => hold,
            other => panic!("visit {visit} has {other:?}"),
        }
    }

    /// All that was made of this list around another list.
    pub fn with_list(&self, list: DayList) -> Self {
        Self { list, ..self.clone() }
    }
}

/// Fails unless the day is refused for this promise.
pub fn assert_refused(day: &Day, promise: Promise) {
    let breaches = day.breaches();
    let texts: Vec<String> = breaches.iter().map(ToString::to_string).collect();
    assert!(breaches.iter().any(|breach| breach.promise == promise), "no {promise:?} in {texts:#?}");
}

/// Fails unless the day is refused for this promise and for nothing else.
pub fn assert_refused_only(day: &Day, promise: Promise) {
    assert_refused(day, promise);
    let others: Vec<String> =
        day.breaches().iter().filter(|breach| breach.promise != promise).map(ToString::to_string).collect();
    assert!(others.is_empty(), "also refused for {others:#?}");
}

/// Two patients at once in bay A, one in bay B, all cooled from 09:00, 09:40 and 11:30.
pub fn three_visits() -> DayList {
    let regimens = vec![
        regimen("D", 90, vec![hair_loss("docetaxel", 60)]),
        regimen("F", 90, vec![cytotoxic("fluorouracil", 15)]),
    ];
    let visits =
        vec![visit(2, "08:30"), seated_in(visit(3, "09:10"), 0, "A2"), seated_in(visit(4, "11:00"), 1, "B1")];
    let mut list = day_list(unit(), regimens, visits);
    list.unit.caps[1].count = 3;
    list
}

/// One after the other on the one outlet of bay B: cooled 09:00 to 12:00 and 12:15 to 15:15.
pub fn a_hand_over() -> DayList {
    let mut list = three_visits();
    list.visits = vec![seated_in(visit(2, "08:30"), 1, "B1"), seated_in(visit(3, "11:45"), 1, "B2")];
    list.unit.machines.remove(0);
    list
}
