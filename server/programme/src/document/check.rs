//! What the parts of a document say of each other and of the programme as it stands.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt::Display;

use super::cycles::{cycles, told};
use super::read::MOST_FAULTS;
use super::records::{differs, is_being_written, is_planned_anew};
use super::references::{Known, unit_fits};
use super::{MOST_POINTS, ProgrammeDocument};
use crate::codes::{ChannelCode, CheckCode, ItemCode, LimitCode, RecorderCode};
use crate::measure::Measure;
use crate::nouns::{Check, Criterion, Limit, LimitKind, Phase, Point, Policy, Role, Statistic};
use crate::refusal::Fault;
use crate::state::{Run, State};

/// Every fault in what a document says of itself and of the programme: codes used twice, references to nothing, units
/// that do not fit, cycles among prerequisites with their path, limits that two people must change.
pub fn check(document: &ProgrammeDocument, state: &State) -> Vec<Fault> {
    let known = Known::of(document, state);
    let mut checking = Checking { document, state, known, faults: Vec::new() };
    checking.sizes();
    checking.codes();
    checking.title();
    checking.people();
    checking.channels();
    checking.recorders();
    checking.limits();
    checking.heating_order();
    checking.quarantine();
    checking.checks();
    checking.limits_in_force();
    checking.items();
    checking.points();
    checking.cycles();
    checking.faults
}

/// Every fault in what a limit says of the programme, for one that two people are about to settle.
pub(crate) fn check_proposed(limit: &Limit, state: &State) -> Vec<Fault> {
    let document =
        ProgrammeDocument { limits: vec![limit.clone()], ..ProgrammeDocument::default() };
    let known = Known::of(&document, state);
    let mut checking = Checking { document: &document, state, known, faults: Vec::new() };
    checking.limits();
    checking.faults
}

/// What is wrong with the limits that an order of heating, or the rules of predictions, name.
pub(crate) fn faults_of_heating_order<'a>(
    policy: &Policy,
    limit: impl Fn(&LimitCode) -> Option<&'a Limit>,
) -> Vec<Fault> {
    let components = policy.predictions.iter().flat_map(|rules| &rules.components).enumerate();
    let order = policy.heating_order.iter().enumerate();
    let named = order.map(|(place, code)| (format!("heating_order[{place}]"), code));
    let named = named.chain(components.map(|(place, component)| {
        (format!("predictions.components[{place}].limit"), &component.limit)
    }));
    let mut faults = Vec::new();
    for (field, code) in named {
        let why = match limit(code) {
            None => format!("there is no limit {code}"),
            Some(limit) if limit.greatest_temperature().is_none() => {
                format!(
                    "{code} is no maximum of a temperature, and only those are reached by heating"
                )
            }
            Some(_) => continue,
        };
        faults.push(Fault::at(field, why));
    }
    faults
}

/// What is wrong with the items and checks that the rules of quarantine name: one that is misspelt would hold nothing.
pub(crate) fn faults_of_quarantine(
    policy: &Policy,
    is_item: impl Fn(&ItemCode) -> bool,
    is_check: impl Fn(&CheckCode) -> bool,
) -> Vec<Fault> {
    let mut faults = Vec::new();
    for (place, rule) in policy.quarantine.iter().enumerate() {
        for (nth, item) in rule.items.iter().enumerate().filter(|(_, item)| !is_item(item)) {
            let why = format!("no item {item} is fitted or ever was");
            faults.push(Fault::at(format!("quarantine[{place}].items[{nth}]"), why));
        }
        for (nth, check) in rule.until_checks.iter().enumerate().filter(|(_, it)| !is_check(it)) {
            let why = format!("there is no check {check}");
            faults.push(Fault::at(format!("quarantine[{place}].until_checks[{nth}]"), why));
        }
    }
    faults
}

/// What is wrong with the items whose change ends a check: the change of one that is misspelt would end nothing.
pub(crate) fn unknown_items(check: &Check, is_item: impl Fn(&ItemCode) -> bool) -> Vec<Fault> {
    let named = check.validity.until_changed.iter().enumerate();
    let unknown = named.filter(|(_, item)| !is_item(item));
    let told = unknown.map(|(place, item)| {
        let why = format!("no item {item} is fitted or ever was");
        Fault::at(format!("validity.until_changed[{place}]"), why)
    });
    told.collect()
}

struct Checking<'a> {
    document: &'a ProgrammeDocument,
    state: &'a State,
    known: Known<'a>,
    faults: Vec<Fault>,
}

impl<'a> Checking<'a> {
    fn fault(&mut self, field: impl Into<String>, why: impl Into<String>) {
        self.faults.push(Fault::at(field, why));
    }

    fn sizes(&mut self) {
        if self.document.points.len() > MOST_POINTS {
            self.fault("points", format!("are more than {MOST_POINTS}"));
        }
    }

    fn codes(&mut self) {
        let document = self.document;
        self.unique("people", "handle", document.people.iter().map(|it| &it.handle));
        self.unique("items", "code", document.items.iter().map(|it| &it.code));
        self.unique("channels", "code", document.channels.iter().map(|it| &it.code));
        self.unique("recorders", "code", document.recorders.iter().map(|it| &it.code));
        self.unique("limits", "code", document.limits.iter().map(|it| &it.code));
        self.unique("checks", "code", document.checks.iter().map(|it| &it.code));
        self.unique("hazards", "code", document.hazards.iter().map(|it| &it.code));
        self.unique("documents", "code", document.documents.iter().map(|it| &it.code));
        self.unique("points", "code", document.points.iter().map(|it| &it.code));
    }

    fn unique<C: Ord + Display>(
        &mut self,
        section: &str,
        field: &str,
        codes: impl Iterator<Item = C>,
    ) {
        let mut first = BTreeMap::new();
        for (place, code) in codes.enumerate() {
            if let Some(earlier) = first.get(&code) {
                let why = format!("{code} is already the {field} of {section}[{earlier}]");
                self.fault(format!("{section}[{place}].{field}"), why);
            } else {
                first.insert(code, place);
            }
        }
    }

    fn title(&mut self) {
        if let Some(title) = &self.document.title
            && self.state.length() > 0
            && *title != self.state.title
        {
            let why = format!(
                "this programme was founded as \"{}\": leave the title out, or import the document into its own programme",
                self.state.title
            );
            self.fault("title", why);
        }
    }

    fn people(&mut self) {
        for (place, person) in self.document.people.iter().enumerate() {
            if person.roles.is_empty() && !self.state.people.contains_key(&person.handle) {
                self.fault(
                    format!("people[{place}].roles"),
                    format!("{} has no role: name at least one", person.handle),
                );
            }
        }
        let has = |role| self.known.people.values().any(|person| person.roles.contains(&role));
        let without = [Role::Safety, Role::Lead].map(|role| (role, has(role)));
        if !self.document.people.is_empty() {
            for (role, listed) in without {
                if !listed {
                    self.fault("people", format!("no {} is listed", role.in_words()));
                }
            }
        }
    }

    /// A channel that changes its kind would leave limits and criteria behind that compare nothing.
    fn channels(&mut self) {
        for (place, channel) in self.document.channels.iter().enumerate() {
            let Some(before) = self.state.channels.get(&channel.code) else { continue };
            if before.unit.kind() == channel.unit.kind() {
                continue;
            }
            let rungs = self.state.ladder.rungs();
            let in_use = self.state.limits.by_code.values().any(|it| it.limit.reads(&channel.code))
                || rungs
                    .iter()
                    .filter(|rung| rung.dropped.is_none())
                    .any(|rung| rung.point.criteria.iter().any(|it| it.parameter == channel.code));
            if in_use {
                let (is, was) = (channel.unit.as_str(), before.unit.as_str());
                self.fault(
                    format!("channels[{place}].unit"),
                    format!("limits or criteria use this channel in {was}, and {is} does not compare with it: give it another code"),
                );
            }
        }
    }

    /// Each column is of a channel, and in a unit that becomes the channel's. A channel that changes its kind would leave
    /// recorders behind that give nothing, so those that the document leaves as they are are looked at, too.
    fn recorders(&mut self) {
        let (document, state) = (self.document, self.state);
        for (place, recorder) in document.recorders.iter().enumerate() {
            for (column, mapped) in recorder.columns.iter().enumerate() {
                let at = format!("recorders[{place}].columns[{column}]");
                if let Some(channel) = self.channel(&mapped.channel, &format!("{at}.channel"))
                    && mapped.plan(channel).is_none()
                {
                    let (unit, its) = (mapped.unit.as_str(), channel.unit.as_str());
                    let why = format!("{unit} does not become {its}, the unit of {}", channel.code);
                    self.fault(format!("{at}.unit"), why);
                }
            }
        }
        for (place, channel) in document.channels.iter().enumerate() {
            let given = |code: &RecorderCode| {
                document.recorders.iter().any(|recorder| recorder.code == *code)
            };
            let stays = state.recorders.values().filter(|recorder| !given(&recorder.code));
            for recorder in stays {
                let mut columns = recorder.columns.iter();
                if let Some(mapped) = columns
                    .find(|mapped| mapped.channel == channel.code && mapped.plan(channel).is_none())
                {
                    let (is, its) = (channel.unit.as_str(), mapped.unit.as_str());
                    self.fault(
                        format!("channels[{place}].unit"),
                        format!("recorder {} gives this channel in {its}, which does not become {is}: describe the recorder anew first", recorder.code),
                    );
                }
            }
        }
    }

    /// The order of heating names maxima of temperature.
    fn heating_order(&mut self) {
        let Some(policy) = &self.document.policy else { return };
        let limits = &self.known.limits;
        let faults = faults_of_heating_order(policy, |code| limits.get(code).copied());
        for fault in faults {
            self.fault(format!("policy.{}", fault.field), fault.why);
        }
    }

    /// Checks end with changes of items that there are.
    fn checks(&mut self) {
        for (place, check) in self.document.checks.iter().enumerate() {
            for fault in unknown_items(check, |item| self.known.items.contains(item)) {
                self.fault(format!("checks[{place}].{}", fault.field), fault.why);
            }
        }
    }

    /// The rules of quarantine name items and checks that there are.
    fn quarantine(&mut self) {
        let Some(policy) = &self.document.policy else { return };
        let (items, checks) = (&self.known.items, &self.known.checks);
        let faults =
            faults_of_quarantine(policy, |it| items.contains(it), |it| checks.contains(it));
        for fault in faults {
            self.fault(format!("policy.{}", fault.field), fault.why);
        }
    }

    fn limits(&mut self) {
        for (place, limit) in self.document.limits.iter().enumerate() {
            let at = format!("limits[{place}]");
            if let Some(channel) = self.channel(&limit.channel, &format!("{at}.channel")) {
                let statistic = match limit.kind {
                    LimitKind::Spread { .. } => Statistic::Spread,
                    LimitKind::Rate { .. } => Statistic::Rate,
                    LimitKind::Maximum { .. }
                    | LimitKind::Minimum { .. }
                    | LimitKind::Range { .. }
                    | LimitKind::TimeAbove { .. }
                    | LimitKind::Rating { .. } => Statistic::Max,
                };
                if !unit_fits(limit.unit, statistic, channel) {
                    let (unit, its) = (limit.unit.as_str(), channel.unit.as_str());
                    self.fault(
                        format!("{at}.unit"),
                        format!("{unit} does not compare with {its}, the unit of {}", channel.code),
                    );
                }
            }
            self.group(limit, &at);
            self.in_heating_order(limit, &at);
        }
        self.times_above();
    }

    /// What the policy names in its order of heating stays the greatest temperature that it is.
    fn in_heating_order(&mut self, limit: &Limit, at: &str) {
        if self.document.policy.is_some() || limit.greatest_temperature().is_some() {
            return;
        }
        let policy = self.state.policy.as_ref();
        let names = |policy: &Policy| {
            let predicted = policy.predictions.as_ref();
            policy.heating_order.contains(&limit.code)
                || predicted.is_some_and(|rules| {
                    rules.components.iter().any(|component| component.limit == limit.code)
                })
        };
        if policy.is_some_and(names) {
            let why = "the policy names this limit in its order of heating or predicts its component, so it must stay a maximum of a temperature";
            self.fault(format!("{at}.is"), why);
        }
    }

    /// A result has one time above for a channel, so limits that hold together must mean the same by it.
    fn times_above(&mut self) {
        let (document, state) = (self.document, self.state);
        let given: BTreeSet<_> = document.limits.iter().map(|limit| &limit.code).collect();
        let in_force = state.limits.by_code.values().map(|it| (None, &*it.limit));
        let stay = in_force.filter(|(_, limit)| !given.contains(&limit.code));
        let come = document.limits.iter().enumerate().map(|(place, it)| (Some(place), it));
        let mut counted: BTreeMap<(&ChannelCode, Phase), (&LimitCode, Measure)> = BTreeMap::new();
        for (place, limit) in stay.chain(come) {
            let Some(above) = limit.kind.counts_time_above() else { continue };
            let above = Measure::new(above, limit.unit);
            let mut clash = None;
            for phase in &limit.phases {
                let (code, earlier) =
                    counted.entry((&limit.channel, *phase)).or_insert((&limit.code, above));
                if earlier.in_kinds_unit() != above.in_kinds_unit() {
                    clash = Some((*code, *earlier));
                }
            }
            if let (Some(place), Some((code, earlier))) = (place, clash) {
                self.fault(
                    format!("limits[{place}].channel"),
                    format!(
                        "{code} counts the time of {} above {earlier} and this limit above {above}, and a result has one time above: give one of them a derived parameter of its own",
                        limit.channel
                    ),
                );
            }
        }
    }

    /// Once something was signed or run, it takes two people to set a limit or change one.
    fn limits_in_force(&mut self) {
        if is_being_written(self.state) {
            return;
        }
        for (place, limit) in self.document.limits.iter().enumerate() {
            let code = &limit.code;
            let why = match self.state.limits.by_code.get(code) {
                Some(now) if *now.limit == *limit => continue,
                Some(_) => format!(
                    "{code} differs from the limit in force: an engineer proposes a change and the safety officer agrees to it"
                ),
                None => format!(
                    "{code} is new: an engineer proposes it and the safety officer agrees to it"
                ),
            };
            self.fault(format!("limits[{place}]"), why);
        }
    }

    /// All channels of a spread are of one kind.
    fn group(&mut self, limit: &Limit, at: &str) {
        let LimitKind::Spread { with, .. } = &limit.kind else { return };
        let own = self.known.channels.get(&limit.channel).copied();
        for (place, code) in with.iter().enumerate() {
            let field = format!("{at}.is.with[{place}]");
            if let Some(channel) = self.channel(code, &field)
                && let Some(own) = own
                && channel.unit.kind() != own.unit.kind()
            {
                let (unit, its) = (channel.unit.as_str(), own.unit.as_str());
                self.fault(
                    field,
                    format!("{code} is in {unit}, which does not compare with {its}"),
                );
            }
        }
    }

    fn items(&mut self) {
        let Some(run) = self.state.open_run() else { return };
        for (place, item) in self.document.items.iter().enumerate() {
            if differs(item, self.state) {
                self.fault(
                    format!("items[{place}]"),
                    format!("{} cannot change while run {} is open", item.code, run.number),
                );
            }
        }
    }

    fn points(&mut self) {
        let open = self.state.open_run();
        for (place, point) in self.document.points.iter().enumerate() {
            if self.faults.len() > MOST_FAULTS {
                self.fault("points", "have more faults than these; mend these first");
                return;
            }
            self.point(point, &format!("points[{place}]"), open);
        }
    }

    fn point(&mut self, point: &'a Point, at: &str, open: Option<&Run>) {
        if let Some(run) = open
            && run.points.contains(&point.code)
            && is_planned_anew(point, self.state)
        {
            let why =
                format!("{} is being run in run {}: change it afterwards", point.code, run.number);
            self.fault(at, why);
        }
        for (place, code) in point.data_required.iter().enumerate() {
            self.channel(code, &format!("{at}.data_required[{place}]"));
        }
        for (place, criterion) in point.criteria.iter().enumerate() {
            self.criterion(criterion, &format!("{at}.criteria[{place}]"));
        }
        if let Some(aircraft) = self.known.aircraft
            && point.most_on_board > aircraft.seats
        {
            self.fault(
                format!("{at}.most_on_board"),
                format!(
                    "{} is more than the {} seats of the aircraft",
                    point.most_on_board, aircraft.seats
                ),
            );
        }
        let known = &self.known;
        let required: Vec<_> = point.configuration.iter().map(|required| &required.item).collect();
        let mut unknown = Vec::new();
        let mut look = |list: &str,
                        after: &str,
                        what: &str,
                        code: &dyn Display,
                        place: usize,
                        is_known: bool| {
            if !is_known {
                let why = format!("there is no {what} {code}");
                unknown.push(Fault::at(format!("{at}.{list}[{place}]{after}"), why));
            }
        };
        for (place, code) in point.limits.iter().enumerate() {
            look("limits", "", "limit", code, place, known.limits.contains_key(code));
        }
        for (place, code) in point.hazards.iter().enumerate() {
            look("hazards", "", "hazard", code, place, known.hazards.contains(code));
        }
        for (place, code) in point.after_checks.iter().enumerate() {
            look("after_checks", "", "check", code, place, known.checks.contains(code));
        }
        for (place, code) in point.after_documents.iter().enumerate() {
            look("after_documents", "", "document", code, place, known.documents.contains(code));
        }
        for (place, code) in required.into_iter().enumerate() {
            look("configuration", ".item", "item", code, place, known.items.contains(code));
        }
        for (place, code) in point.sensitive_to.iter().enumerate() {
            look("sensitive_to", "", "item", code, place, known.items.contains(code));
        }
        for (place, code) in point.after_points.iter().enumerate() {
            let what = if known.dropped.contains(code) { "longer a point" } else { "point" };
            look("after_points", "", what, code, place, known.points.contains_key(code));
        }
        self.faults.extend(unknown);
    }

    fn criterion(&mut self, criterion: &Criterion, at: &str) {
        if let Some(channel) = self.channel(&criterion.parameter, &format!("{at}.parameter"))
            && !unit_fits(criterion.unit, criterion.statistic, channel)
        {
            let (unit, its) = (criterion.unit.as_str(), channel.unit.as_str());
            self.fault(
                format!("{at}.unit"),
                format!(
                    "{unit} does not fit the {} of {}, which is in {its}",
                    criterion.statistic, channel.code
                ),
            );
        }
    }

    fn channel(&mut self, code: &ChannelCode, at: &str) -> Option<&'a crate::nouns::Channel> {
        let found = self.known.channels.get(code).copied();
        if found.is_none() {
            self.fault(at, format!("there is no channel {code}"));
        }
        found
    }

    fn cycles(&mut self) {
        let planned = self.document.points.iter().map(|point| &point.code);
        let order: Vec<_> =
            planned.chain(self.state.ladder.rungs().iter().map(|rung| &rung.point.code)).collect();
        let after: HashMap<_, _> = self
            .known
            .points
            .iter()
            .map(|(code, point)| (*code, point.after_points.as_slice()))
            .collect();
        for cycle in cycles(&order, &after) {
            // The cycle begins with the point that the document names first, for the programme alone has none.
            let place = self.document.points.iter().position(|point| point.code == *cycle[0]);
            let at = place.map_or_else(
                || "points".to_owned(),
                |place| format!("points[{place}].after_points"),
            );
            self.fault(at, format!("a point cannot wait for itself: {}", told(&cycle)));
        }
    }
}
