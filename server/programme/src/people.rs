//! Who may do what: the one table.

use serde::Serialize;

use crate::nouns::Role;

macro_rules! acts {
    ($($(#[$note:meta])* $name:ident $words:literal [$($role:ident),* $(,)?],)+) => {
        /// Everything that a person can do in a programme.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, utoipa::ToSchema)]
        #[serde(rename_all = "kebab-case")]
        pub enum Act {
            $($(#[$note])* $name,)+
        }

        impl Act {
            /// Every act.
            pub const ALL: &'static [Act] = &[$(Act::$name),+];

            /// The act in words, to follow "may".
            pub const fn in_words(self) -> &'static str {
                match self { $(Act::$name => $words),+ }
            }

            /// The roles that may.
            pub const fn allowed(self) -> &'static [Role] {
                match self { $(Act::$name => &[$(Role::$role),*]),+ }
            }
        }
    };
}

acts! {
    /// Read anything of the programme.
    Read "read the programme" [Lead, Pilot, Safety, Engineer, Crew, Viewer],
    /// Import a document, plan and drop points.
    Plan "plan the programme" [Lead, Engineer],
    /// Describe the aircraft.
    DescribeAircraft "describe the aircraft" [Lead],
    /// Set the policy, which every hold is judged by: not for whoever plans the steps.
    SetPolicy "set the programme's policy" [Safety],
    /// List people with their roles.
    ListPeople "list people" [Lead, Safety],
    /// Fit and remove items.
    Configure "change the configuration" [Engineer],
    /// Define channels.
    DefineChannels "define channels" [Engineer],
    /// Describe recorders and map their columns.
    DescribeRecorders "describe recorders" [Engineer, Lead],
    /// Propose a limit.
    ProposeLimit "propose a limit" [Engineer],
    /// Agree to a limit or decline it.
    AgreeLimit "agree to a limit" [Safety],
    /// Define checks.
    DefineChecks "define checks" [Engineer, Lead],
    /// Report a check as done; each check says who may do it besides.
    DoChecks "report checks" [Crew, Engineer, Pilot, Lead],
    /// Record hazards.
    RecordHazards "record hazards" [Engineer, Safety, Lead],
    /// Accept residual risk; the matrix says which role each level needs besides.
    AcceptRisk "accept residual risk" [Safety, Lead],
    /// File documents.
    FileDocuments "file documents" [Lead, Safety],
    /// Approve plans.
    ApprovePlans "approve plans" [Lead, Engineer],
    /// Propose a deviation from the build-up.
    ProposeDeviation "propose a deviation from the build-up" [Lead],
    /// Agree to a deviation from the build-up.
    AgreeDeviation "agree to a deviation from the build-up" [Safety],
    /// End a deviation from the build-up.
    EndDeviation "end a deviation from the build-up" [Lead, Safety],
    /// Release points.
    ReleasePoints "release points" [Safety],
    /// Acknowledge cards.
    AcknowledgeCards "acknowledge cards" [Pilot],
    /// Accept results as an engineer.
    AcceptAsEngineer "accept results as an engineer" [Engineer],
    /// Accept results as the safety officer.
    AcceptAsSafety "accept results as the safety officer" [Safety],
    /// Open runs, note their times and readings, close them.
    ConductRuns "conduct runs" [Lead, Pilot, Crew, Engineer],
    /// Call knock-it-off.
    KnockOff "call knock-it-off" [Lead, Pilot, Safety, Engineer, Crew],
    /// Correct the times of runs.
    CorrectTimes "correct times" [Lead, Engineer],
    /// Record results.
    RecordResults "record results" [Lead, Pilot, Engineer, Crew],
    /// Note exceedances.
    NoteExceedances "note exceedances" [Lead, Pilot, Safety, Engineer, Crew],
    /// Explain exceedances.
    ExplainExceedances "explain exceedances" [Engineer],
    /// Close exceedances.
    CloseExceedances "close exceedances" [Safety],
    /// Take recordings in.
    TakeRecordings "take recordings in" [Engineer, Lead, Crew],
    /// Attach recordings to runs, with what they show, and set them aside.
    AttachRecordings "attach recordings or set them aside" [Engineer, Lead],
    /// Confirm by how much the clocks of recorders differ.
    ConfirmClocks "confirm clock offsets" [Engineer],
    /// Take intervals of recordings for points.
    TakeIntervals "take intervals of recordings" [Engineer, Lead],
    /// Work something out of recordings.
    MakeReductions "reduce recordings" [Engineer],
    /// Review models that predictions rest on.
    ReviewModels "review models" [Engineer, Safety],
    /// Judge the damping before steps in speed.
    JudgeDamping "judge damping" [Engineer],
    /// Let a result stand though items changed.
    NarrowRepeats "let results stand after changes" [Safety],
    /// Assume what forecasts rest on, and make them.
    Forecast "make forecasts" [Lead],
    /// Plan days.
    PlanDays "plan days" [Lead],
    /// Note what days were lost to.
    NoteLostDays "note lost days" [Lead, Pilot, Safety, Engineer, Crew],
    /// Open snags.
    OpenSnags "open snags" [Lead, Pilot, Safety, Engineer, Crew],
    /// Work on snags.
    WorkSnags "work on snags" [Engineer, Crew],
    /// Close snags.
    CloseSnags "close snags" [Engineer],
    /// Observe weather.
    ObserveWeather "observe weather" [Lead, Pilot, Safety, Engineer, Crew],
    /// Report happenings.
    ReportEvents "report happenings" [Lead, Pilot, Safety, Engineer, Crew],
    /// Call a stand-down.
    CallStandDown "call a stand-down" [Lead, Pilot, Safety, Engineer, Crew],
    /// Lift a stand-down.
    LiftStandDown "lift a stand-down" [Safety],
    /// Acknowledge that the ledger goes on from a copy that may be older; it takes both.
    AcknowledgeCopy "acknowledge a restored copy" [Lead, Safety],
    /// Compare the server's clock with another one, where it stands before what was recorded.
    CompareClock "compare the server's clock" [Safety],
}

impl Act {
    /// Whether any of the roles may.
    pub fn is_allowed_to(self, roles: &[Role]) -> bool {
        self.allowed().iter().any(|role| roles.contains(role))
    }

    /// The roles that may, in words.
    pub fn allowed_in_words(self) -> String {
        let words: Vec<_> = self.allowed().iter().map(|role| role.with_article()).collect();
        match words.as_slice() {
            [] => "nobody".to_owned(),
            [one] => (*one).to_owned(),
            [first @ .., last] => format!("{} or {last}", first.join(", ")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_safety_officer_releases_points_and_lifts_stand_downs() {
        assert_eq!(Act::ReleasePoints.allowed(), [Role::Safety]);
        assert_eq!(Act::LiftStandDown.allowed(), [Role::Safety]);
    }

    #[test]
    fn an_inspector_reads_and_nothing_else() {
        for act in Act::ALL {
            assert_eq!(act.is_allowed_to(&[Role::Viewer]), *act == Act::Read, "{act:?}");
        }
    }

    #[test]
    fn anyone_who_takes_part_can_stop_everything() {
        for role in Role::ALL.into_iter().filter(|role| *role != Role::Viewer) {
            assert!(Act::CallStandDown.is_allowed_to(&[role]), "{role}");
            assert!(Act::KnockOff.is_allowed_to(&[role]), "{role}");
        }
    }
}
