//! What every plan keeps, as sums over the days of its machines: a session is served once, caps suffice, bays ask for
//! what is known of them, the goal's limit, and crowds. Each rule has a price, and a place that is the same everywhere.
//!
//! Knows what a day of a machine takes of each rule; knows nothing of how prices are found.

use std::cell::RefCell;

use super::crowds::Crowds;
use super::known::Known;
use super::machine_days::{Worth, Worths};
use super::placement::count;
use super::sessions::{Pair, SessionIndex, Sessions};
use crate::clock::Span;
use crate::unit_rules::BayIndex;

/// One session left out, or one move, as a worth.
pub(super) const WHOLE: Worth = 10_000;

/// What a move costs that no day is worth.
pub(super) const STAYS: Worth = 10_000_000_000 * WHOLE;

/// What is to be as small as can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Goal {
    /// Sessions left out.
    LeftOut,
    /// Moves, with at most so many left out.
    Moves {
        /// The most that may be left out.
        left_out: u32,
    },
    /// Sessions left out, with at most so many moves.
    LeftOutWithin {
        /// The most moves.
        moves: u32,
    },
    /// Sessions left out, no machine moving.
    LeftOutAtHome,
}

impl Goal {
    /// Whether something else than what is to be small has a limit, and so a price.
    fn limits(self) -> bool {
        matches!(self, Self::Moves { .. } | Self::LeftOutWithin { .. })
    }

    /// What a session served and a move count for, before prices.
    fn counts(self) -> (Worth, Worth) {
        match self {
            Self::LeftOut | Self::LeftOutWithin { .. } => (WHOLE, 0),
            Self::Moves { .. } => (0, WHOLE),
            Self::LeftOutAtHome => (WHOLE, STAYS),
        }
    }
}

/// The rules of a day.
pub(super) struct Rules<'a> {
    day: &'a Sessions<'a>,
    /// Sessions that want a cap of one size at one time, where these are too few, and how many there are.
    pub scarce: Vec<(Vec<SessionIndex>, u32)>,
    /// What is known of bays by themselves.
    known: &'a [Known],
    /// The crowds whose pairs were too many.
    pub crowds: RefCell<Crowds<'a>>,
}

impl<'a> Rules<'a> {
    /// The rules of a day; no crowds yet.
    pub fn new(day: &'a Sessions<'a>, known: &'a [Known], pairs: &'a [Pair]) -> Self {
        Self { day, scarce: scarce(day), known, crowds: RefCell::new(Crowds::new(day, pairs)) }
    }

    /// How many rules there are now: sessions, scarce caps, what is known of bays, what the goal limits, crowds.
    pub fn number(&self, goal: Goal) -> usize {
        self.limit_at() + usize::from(goal.limits()) + self.crowds.borrow().len()
    }

    /// The prices to begin with.
    pub fn first_prices(&self, goal: Goal) -> Vec<Worth> {
        let price = |rule| match rule {
            session if session < self.day.all.len() => WHOLE / 2,
            limit if limit == self.limit_at() && goal.limits() => WHOLE,
            _ => 0,
        };
        (0..self.number(goal)).map(price).collect()
    }

    /// The place of the rule on what the goal limits.
    fn limit_at(&self) -> usize {
        self.known_at() + self.known.len()
    }

    /// The place of the first rule on what is known of bays.
    fn known_at(&self) -> usize {
        self.day.all.len() + self.scarce.len()
    }

    /// What is left of each rule's price whatever the days, for each worth of the price: below 0 is what there may be.
    pub fn fixed(&self, goal: Goal) -> Vec<Worth> {
        let all = Worth::from(count(self.day.all.len()));
        let mut fixed = vec![-1; self.day.all.len()];
        fixed.extend(self.scarce.iter().map(|(_, caps)| -Worth::from(*caps)));
        fixed.extend(self.known.iter().map(|known| {
            Worth::from(known.least) - Worth::from(count(self.sessions_of(&known.bays).count()))
        }));
        match goal {
            Goal::LeftOut | Goal::LeftOutAtHome => {}
            Goal::Moves { left_out } => fixed.push(all - Worth::from(left_out)),
            Goal::LeftOutWithin { moves } => fixed.push(-Worth::from(moves)),
        }
        fixed.extend(self.crowds.borrow().most_pairs().map(|most| -most));
        fixed
    }

    /// What the goal comes to if no machine does anything.
    pub fn idle(&self, goal: Goal) -> Worth {
        goal.counts().0 * Worth::from(count(self.day.all.len()))
    }

    /// What a day of a machine is worth before prices, and what it takes of the rules: a rule may be named more
    /// than once.
    pub fn takes(&self, goal: Goal, home: BayIndex, served: &[SessionIndex]) -> (Worth, Vec<(usize, Worth)>) {
        let mut takes: Vec<(usize, Worth)> = served.iter().map(|&session| (session, 1)).collect();
        let (mut bay, mut moves) = (home, 0);
        for &session in served {
            for (place, (sessions, _)) in self.scarce.iter().enumerate() {
                if sessions.binary_search(&session).is_ok() {
                    takes.push((self.day.all.len() + place, 1));
                }
            }
            let here = self.day.all[session].bay;
            let comes = here != bay;
            for (place, known) in
                self.known.iter().enumerate().filter(|(_, known)| known.bays.contains(&here))
            {
                let relief = if comes { Worth::from(known.relief) } else { 0 };
                takes.push((self.known_at() + place, 1 - relief));
            }
            (bay, moves) = (here, moves + Worth::from(comes));
        }
        let number = Worth::from(count(served.len()));
        match goal {
            Goal::LeftOut | Goal::LeftOutAtHome => {}
            Goal::Moves { .. } => takes.push((self.limit_at(), -number)),
            Goal::LeftOutWithin { .. } => takes.push((self.limit_at(), moves)),
        }
        let crowds_at = self.limit_at() + usize::from(goal.limits());
        takes.extend(self.crowds.borrow().of_pairs(served).into_iter().map(|crowd| (crowds_at + crowd, 1)));
        let (of_session, of_move) = goal.counts();
        (number * of_session - moves * of_move, takes)
    }

    /// What each session is worth to a machine, what coming to each bay costs it, and what each pair does.
    pub fn worths(&self, goal: Goal, prices: &[Worth]) -> Worths {
        let (of_sessions, rest) = prices.split_at(self.day.all.len());
        let (of_caps, rest) = rest.split_at(self.scarce.len());
        let (of_known, rest) = rest.split_at(self.known.len());
        let (of_limit, of_crowds) = rest.split_at(usize::from(goal.limits()));
        let (mut served, mut of_move) = goal.counts();
        match (goal, of_limit) {
            (Goal::Moves { .. }, [price]) => served += price,
            (Goal::LeftOutWithin { .. }, [price]) => of_move += price,
            _ => {}
        }
        let mut sessions: Vec<Worth> = of_sessions.iter().map(|price| served - price).collect();
        let mut moves = vec![of_move; self.day.unit.bays.len()];
        for ((wanted, _), price) in self.scarce.iter().zip(of_caps) {
            for &session in wanted {
                sessions[session] -= price;
            }
        }
        for (known, price) in self.known.iter().zip(of_known) {
            for session in self.sessions_of(&known.bays) {
                sessions[session] -= price;
            }
            for bay in &known.bays {
                moves[bay.0] -= price * Worth::from(known.relief);
            }
        }
        Worths { sessions, moves, pairs: self.crowds.borrow().paid_by_pairs(of_crowds) }
    }

    /// The sessions of some bays.
    fn sessions_of(&self, bays: &[BayIndex]) -> impl Iterator<Item = SessionIndex> {
        let of_bays = |session: &SessionIndex| bays.contains(&self.day.all[*session].bay);
        (0..self.day.all.len()).filter(of_bays)
    }
}

/// Where caps of a size can be too few; the sessions in order.
fn scarce(day: &Sessions) -> Vec<(Vec<SessionIndex>, u32)> {
    let mut scarce = Vec::new();
    for (size, stock) in day.unit.caps.iter().enumerate() {
        let users: Vec<(SessionIndex, Span)> = day.users_of(size).collect();
        for &(_, first) in &users {
            let held = users.iter().filter(|(_, hold)| hold.from <= first.from && first.from < hold.until);
            let held: Vec<SessionIndex> = held.map(|(session, _)| *session).collect();
            if count(held.len()) > stock.count {
                scarce.push((held, stock.count));
            }
        }
    }
    scarce
}
