//! Steps and what each waits for, sorted so that each comes after all that it waits for.

/// Steps that wait for each other in a circle.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{} steps wait for each other in a circle; the first is step {}", .steps.len(), .steps.first().copied().unwrap_or(0))]
pub struct Cycle {
    /// Some of them, by their place in the input.
    pub steps: Vec<usize>,
}

/// Dependences of steps.
#[derive(Debug, Clone)]
pub struct Network {
    /// The steps by their place in the input, each after all that it waits for.
    order: Vec<u32>,
    /// For each place of the order, where its list begins in `before`.
    starts: Vec<u32>,
    /// Places in the order.
    before: Vec<u32>,
}

impl Network {
    /// Sorts steps. `after[i]` are the steps that step `i` waits for.
    ///
    /// # Errors
    ///
    /// [`Cycle`] where no order exists. A step that waits for one that is not there is such a step too.
    pub fn new(after: &[Vec<usize>]) -> Result<Self, Cycle> {
        let count = after.len();
        let mut waiting: Vec<usize> = after.iter().map(Vec::len).collect();
        let mut next: Vec<Vec<usize>> = vec![Vec::new(); count];
        for (step, before) in after.iter().enumerate() {
            for before in before {
                if let Some(next) = next.get_mut(*before) {
                    next.push(step);
                }
            }
        }
        let mut order: Vec<usize> = (0..count).filter(|step| waiting[*step] == 0).collect();
        let mut done = 0;
        while done < order.len() {
            for step in &next[order[done]] {
                waiting[*step] -= 1;
                if waiting[*step] == 0 {
                    order.push(*step);
                }
            }
            done += 1;
        }
        if order.len() < count {
            let steps = (0..count).filter(|step| waiting[*step] > 0).take(20).collect();
            return Err(Cycle { steps });
        }
        Ok(Self::sorted(after, order))
    }

    /// The same network with another order, in which each step still has to come after all that it waits for.
    fn sorted(after: &[Vec<usize>], order: Vec<usize>) -> Self {
        let mut place = vec![0_u32; order.len()];
        for (at, step) in order.iter().enumerate() {
            place[*step] = at as u32;
        }
        let mut starts = vec![0];
        let mut before = Vec::new();
        for step in &order {
            before.extend(after[*step].iter().map(|step| place[*step]));
            starts.push(before.len() as u32);
        }
        Self { order: order.into_iter().map(|step| step as u32).collect(), starts, before }
    }

    /// The same steps, those first that have the longest way to the end before them: they get the aircraft first.
    pub(super) fn urgent_first(self, after: &[Vec<usize>], days: &[f64]) -> Self {
        let schedule = critical_path(&self, days);
        let mut order: Vec<usize> = self.order.iter().map(|step| *step as usize).collect();
        // A step's latest start is not after that of what waits for it, and the sort is stable. Adding 0 makes −0 the same as 0.
        order.sort_by(|left, right| {
            (schedule.latest_start[*left] + 0.0).total_cmp(&(schedule.latest_start[*right] + 0.0))
        });
        Self::sorted(after, order)
    }

    /// How many steps.
    pub fn len(&self) -> usize {
        self.order.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.order.is_empty()
    }

    /// The step, by its place in the input, at a place of the order.
    pub(super) fn step(&self, place: usize) -> usize {
        self.order[place] as usize
    }

    /// The places of what comes before.
    #[inline]
    pub(super) fn before(&self, place: usize) -> &[u32] {
        &self.before[self.starts[place] as usize..self.starts[place + 1] as usize]
    }
}

/// The critical path method's answer, each list by the step's place in the input.
#[derive(Debug, Clone, PartialEq)]
pub struct Schedule {
    /// Earliest start.
    pub earliest_start: Vec<f64>,
    /// Earliest finish.
    pub earliest_finish: Vec<f64>,
    /// Latest start that delays nothing.
    pub latest_start: Vec<f64>,
    /// Latest finish that delays nothing.
    pub latest_finish: Vec<f64>,
    /// When all is finished.
    pub whole: f64,
}

impl Schedule {
    /// How long a step may slip without delaying the end.
    pub fn slack(&self, step: usize) -> f64 {
        self.latest_start[step] - self.earliest_start[step]
    }
}

/// Earliest and latest times for known durations.
///
/// # Source
///
/// The critical path method, as in any textbook on projects. Checked in `forecast/tests`.
pub fn critical_path(network: &Network, days: &[f64]) -> Schedule {
    let count = network.len();
    let (mut earliest_start, mut earliest_finish) = (vec![0.0; count], vec![0.0; count]);
    let mut whole = 0.0_f64;
    for place in 0..count {
        let step = network.step(place);
        let begin = network
            .before(place)
            .iter()
            .map(|before| earliest_finish[network.step(*before as usize)])
            .fold(0.0, f64::max);
        earliest_start[step] = begin;
        earliest_finish[step] = begin + days[step];
        whole = whole.max(earliest_finish[step]);
    }
    let mut latest_finish = vec![whole; count];
    let mut latest_start = vec![0.0; count];
    for place in (0..count).rev() {
        let step = network.step(place);
        latest_start[step] = latest_finish[step] - days[step];
        for before in network.before(place) {
            let before = network.step(*before as usize);
            latest_finish[before] = f64::min(latest_finish[before], latest_start[step]);
        }
    }
    Schedule { earliest_start, earliest_finish, latest_start, latest_finish, whole }
}
