//! Networks without a calendar, against textbooks and what can be worked out.

use std::sync::atomic::AtomicBool;

use proptest::prelude::*;

use super::super::spread::{Quantiles, beta_quantiles, drawn};
use super::super::*;

fn three(best: f64, likely: f64, worst: f64) -> Spread {
    Spread::ThreePoint(ThreePoint { best, likely, worst })
}

/// Even chance from `low` to `high`.
fn even(low: f64, high: f64) -> Spread {
    Spread::History(vec![low, high])
}

fn run(after: &[Vec<usize>], days: &[Spread], trials: u32) -> Finishes {
    let network = Network::new(after).unwrap();
    finishes(&network, days, trials, 7, &AtomicBool::new(false)).unwrap()
}

fn mean_and_variance(values: &[f64]) -> (f64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    (mean, values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / count)
}

fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[(share * sorted.len() as f64) as usize]
}

/// A PERT problem with its solution, wizedu.com/questions/717873: means, times and slack of A to F as printed there, the rest
/// exact. N closes the project.
#[test]
fn the_textbook_network_has_its_published_times_slack_and_critical_path() {
    let points = [
        (5., 5., 7.),
        (1., 2., 5.),
        (5., 5., 5.),
        (4., 8., 13.),
        (1., 10., 17.),
        (1., 5., 7.),
        (2., 6., 9.),
        (4., 4., 6.),
        (2., 7., 10.),
        (2., 4., 7.),
        (6., 10., 13.),
        (2., 6., 6.),
        (2., 2., 3.),
        (7., 7., 12.),
    ]
    .map(|(best, likely, worst)| ThreePoint { best, likely, worst });
    let after: Vec<Vec<usize>> = vec![
        vec![],
        vec![],
        vec![0],
        vec![0],
        vec![1, 2],
        vec![3],
        vec![3],
        vec![4, 5],
        vec![6, 7],
        vec![8],
        vec![8],
        vec![9],
        vec![10],
        vec![11, 12],
    ];
    let means = points.map(ThreePoint::mean);
    for (mean, printed) in means
        .iter()
        .zip([5.33, 2.33, 5.0, 8.17, 9.67, 4.67, 5.83, 4.33, 6.67, 4.17, 9.83, 5.33, 2.17, 7.83])
    {
        assert!((mean - printed).abs() < 0.006, "{mean} for {printed}");
    }
    let schedule = critical_path(&Network::new(&after).unwrap(), &means);
    let printed = [
        (0., 5.33, 0., 5.33, 0.),
        (0., 2.33, 8., 10.33, 8.),
        (5.33, 10.33, 5.33, 10.33, 0.),
        (5.33, 13.5, 7.17, 15.33, 1.83),
        (10.33, 20., 10.33, 20., 0.),
        (13.5, 18.17, 15.33, 20., 1.83),
    ];
    for (step, (start, finish, latest_start, latest_finish, slack)) in
        printed.into_iter().enumerate()
    {
        let found = [
            (schedule.earliest_start[step], start),
            (schedule.earliest_finish[step], finish),
            (schedule.latest_start[step], latest_start),
            (schedule.latest_finish[step], latest_finish),
            (schedule.slack(step), slack),
        ];
        for (found, printed) in found {
            assert!((found - printed).abs() < 0.006, "step {step}: {found} for {printed}");
        }
    }
    let critical: Vec<usize> = (0..14).filter(|step| schedule.slack(*step) < 1e-9).collect();
    assert_eq!(critical, [0, 2, 4, 7, 8, 10, 12, 13]);
    assert!((schedule.whole - 50.833_333_333_333_336).abs() < 1e-9);
    let variance: f64 = critical.iter().map(|step| points[*step].variance()).sum();
    assert!((variance - 11.194_444_444_444_445).abs() < 1e-9);
}

/// Taylor, Introduction to Management Science, chapter 8, example solution: weeks 24, variance 5.
#[test]
fn the_textbook_path_has_its_published_mean_and_variance() {
    let path = [(5., 8., 17.), (3., 5., 7.), (4., 6., 8.), (3., 4., 5.)]
        .map(|(best, likely, worst)| ThreePoint { best, likely, worst });
    let mean: f64 = path.iter().map(|points| points.mean()).sum();
    let variance: f64 = path.iter().map(|points| points.variance()).sum();
    assert!((mean - 24.0).abs() < 1e-12 && (variance - 5.0).abs() < 1e-12);
}

/// SciPy 1.17.1, `stats.beta.ppf`, at 10, 50, 80 and 90 %. The tolerance is that of stored quantiles, 0.0002 of the range.
#[test]
fn values_are_drawn_at_the_published_quantiles_of_the_beta_distribution() {
    let published = [
        ((2., 4., 9.), [2.904_353_46, 4.382_588_60, 5.625_879_64, 6.272_702_75]),
        ((1., 1.5, 5.), [1.239_234_63, 1.884_479_58, 2.551_380_75, 2.935_612_79]),
        ((0.5, 2., 2.5), [1.332_219_25, 1.872_379_66, 2.162_782_30, 2.275_530_08]),
    ];
    for ((a, m, b), quantiles) in published {
        let mode = (m - a) / (b - a);
        let table = beta_quantiles(1.0 + 4.0 * mode, 5.0 - 4.0 * mode);
        for (share, published) in [0.1, 0.5, 0.8, 0.9].into_iter().zip(quantiles) {
            let found = a + (b - a) * drawn(&table, (share * 4_294_967_296.0) as u32);
            assert!((found - published).abs() < 2e-4 * (b - a), "{found} for {published}");
        }
    }
    // Priors of repeats: the same library, other parameters.
    for (share, alpha, beta, published) in [
        (0.025, 2., 3., 0.067_585_99),
        (0.9, 1., 30., 0.073_881_27),
        (0.05, 5., 1., 0.549_280_27),
        (0.5, 0.5, 0.5, 0.5),
    ] {
        let found = drawn(&beta_quantiles(alpha, beta), (share * 4_294_967_296.0) as u32);
        assert!((found - published).abs() < 1e-3, "{found} for {published}");
    }
}

/// The mean of the greatest of `count` values that are drawn from quantiles: each of them is below the value at u with chance
/// u, all of them with u to the power of `count`.
fn mean_of_greatest(table: &Quantiles, count: f64) -> f64 {
    const STEPS: u32 = 200_000;
    let at = |step: u32| {
        let all_below = (f64::from(step) + 0.5) / f64::from(STEPS);
        drawn(table, (all_below.powf(1.0 / count) * 4_294_967_296.0) as u32)
    };
    (0..STEPS).map(at).sum::<f64>() / f64::from(STEPS)
}

/// Worked out: of n values of beta(1, 5) the greatest has mean 1 − B(1/5, n + 1) / 5, and B(1/5, n + 1) is the product of
/// k / (k + 1/5) for k from 1 to n, times 5. Where many ways meet, the end is such a greatest value: ends of distributions
/// that are off by little make it late by much more. Taken from quantiles alone, without luck.
#[test]
fn the_greatest_of_many_values_has_the_mean_that_is_worked_out() {
    for count in [1_u32, 20, 100, 500] {
        let product: f64 = (1..=count).map(|k| f64::from(k) / (f64::from(k) + 0.2)).product();
        let found = mean_of_greatest(&beta_quantiles(1.0, 5.0), f64::from(count));
        assert!(
            (found - (1.0 - product)).abs() < 1e-4,
            "of {count}: {found}, not {}",
            1.0 - product
        );
        // The other way round, of beta(5, 1): 1 − 1 / (5 n + 1).
        let greatest = mean_of_greatest(&beta_quantiles(5.0, 1.0), f64::from(count));
        let exact = 5.0 * f64::from(count) / (5.0 * f64::from(count) + 1.0);
        assert!((greatest - exact).abs() < 1e-4, "of {count}: {greatest}, not {exact}");
    }
}

/// Worked out: three even spreads one after the other have the sum of their means and variances.
#[test]
fn steps_one_after_the_other_add_up() {
    let found =
        run(&[vec![], vec![0], vec![1]], &[even(1., 3.), even(0., 4.), even(2., 3.)], 20_000);
    let (mean, variance) = mean_and_variance(&found.whole_days);
    assert!((mean - 6.5).abs() < 4.0 * (1.75_f64 / 20_000.0).sqrt(), "{mean}");
    assert!((variance - 1.75).abs() < 0.07, "{variance}");
    assert!(found.critical.iter().all(|times| *times == 20_000));
}

/// Worked out: the greatest of three even chances from 0 to 1 has mean 3/4, though each has mean 1/2. A plan that adds up
/// means is too early wherever ways meet.
#[test]
fn where_ways_meet_the_end_is_later_than_the_means_say() {
    let (count, days) = (20_000, vec![even(0., 1.), even(0., 1.), even(0., 1.), three(0., 0., 0.)]);
    let after = [vec![], vec![], vec![], vec![0, 1, 2]];
    let found = run(&after, &days, count);
    let (mean, _) = mean_and_variance(&found.whole_days);
    assert!((mean - 0.75).abs() < 4.0 * (0.0375 / f64::from(count)).sqrt(), "{mean}");
    assert!((quantile(&found.whole_days, 0.5) - 0.793_700_5).abs() < 0.01);
    assert!((quantile(&found.whole_days, 0.9) - 0.965_489_4).abs() < 0.01);
    let means: Vec<f64> = days.iter().map(Spread::mean).collect();
    assert!(critical_path(&Network::new(&after).unwrap(), &means).whole < mean - 0.2);
    for times in &found.critical[..3] {
        assert!((f64::from(*times) / f64::from(count) - 1.0 / 3.0).abs() < 0.015, "{times}");
    }
}

#[test]
fn one_thread_and_two_give_the_same_trials() {
    let after: Vec<Vec<usize>> =
        (0..60_usize).map(|step| (step.saturating_sub(3)..step).collect()).collect();
    let days = vec![three(1., 2., 6.); 60];
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| run(&after, &days, 1_000))
    };
    assert_eq!(on(1), on(2));
}

#[test]
fn a_circle_a_bad_spread_and_a_stop_are_told() {
    assert_eq!(Network::new(&[vec![1], vec![0], vec![]]).unwrap_err().steps, [0, 1]);
    assert_eq!(Network::new(&[vec![5]]).unwrap_err().steps, [0]);
    let network = Network::new(&[vec![]]).unwrap();
    for bad in
        [three(3., 2., 4.), three(-1., 2., 4.), three(0., f64::NAN, 1.), Spread::History(vec![])]
    {
        let told = finishes(&network, &[bad], 10, 1, &AtomicBool::new(false));
        assert!(matches!(told, Err(CannotForecast::Faulty { faults }) if faults.len() == 1));
    }
    let stopped = finishes(&network, &[three(1., 2., 3.)], 10, 1, &AtomicBool::new(true));
    assert_eq!(stopped, Err(CannotForecast::Stopped));
}

proptest! {
    #[test]
    fn a_trial_never_ends_before_its_longest_single_step_at_best(
        shape in proptest::collection::vec((0.0f64..5.0, 0.0f64..5.0, 0.0f64..5.0, 0usize..4), 1..30),
    ) {
        let after: Vec<Vec<usize>> =
            shape.iter().enumerate().map(|(step, of)| (step.saturating_sub(of.3)..step).collect()).collect();
        let days: Vec<Spread> = shape.iter().map(|(a, b, c, _)| three(*a, a + b, a + b + c)).collect();
        let found = run(&after, &days, 64);
        let best: Vec<f64> = shape.iter().map(|of| of.0).collect();
        let worst: Vec<f64> = shape.iter().map(|of| of.0 + of.1 + of.2).collect();
        let network = Network::new(&after).unwrap();
        let (least, most) = (critical_path(&network, &best).whole, critical_path(&network, &worst).whole);
        for whole in found.whole_days {
            prop_assert!(whole >= least - 1e-6 && whole <= most + 1e-6);
        }
    }
}
