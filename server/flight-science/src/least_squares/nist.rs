//! Holds the kernel against the certified values of the NIST Statistical Reference Datasets.

#![allow(clippy::unwrap_used, clippy::panic)]

mod dual;

use dual::Dual;
use nalgebra::{DMatrix, DVector};
use serde::Deserialize;

use super::{Fit, Intercept, Model, fit_linear, fit_nonlinear, fit_polynomial};

const CERTIFIED: &str = include_str!("../../published/nist/certified.toml");

/// The data as NIST has them, first column `y`.
fn file(name: &str) -> &'static str {
    match name {
        "longley.csv" => include_str!("../../published/nist/longley.csv"),
        "noint1.csv" => include_str!("../../published/nist/noint1.csv"),
        "norris.csv" => include_str!("../../published/nist/norris.csv"),
        "wampler1.csv" => include_str!("../../published/nist/wampler1.csv"),
        "wampler4.csv" => include_str!("../../published/nist/wampler4.csv"),
        "wampler5.csv" => include_str!("../../published/nist/wampler5.csv"),
        "Chwirut1.dat" => include_str!("../../published/nist/Chwirut1.dat"),
        "Chwirut2.dat" => include_str!("../../published/nist/Chwirut2.dat"),
        "DanWood.dat" => include_str!("../../published/nist/DanWood.dat"),
        "Hahn1.dat" => include_str!("../../published/nist/Hahn1.dat"),
        "Kirby2.dat" => include_str!("../../published/nist/Kirby2.dat"),
        "Lanczos3.dat" => include_str!("../../published/nist/Lanczos3.dat"),
        "MGH09.dat" => include_str!("../../published/nist/MGH09.dat"),
        "Misra1a.dat" => include_str!("../../published/nist/Misra1a.dat"),
        "Misra1c.dat" => include_str!("../../published/nist/Misra1c.dat"),
        "Thurber.dat" => include_str!("../../published/nist/Thurber.dat"),
        "Bennett5.dat" => include_str!("../../published/nist/Bennett5.dat"),
        "BoxBOD.dat" => include_str!("../../published/nist/BoxBOD.dat"),
        "ENSO.dat" => include_str!("../../published/nist/ENSO.dat"),
        "Eckerle4.dat" => include_str!("../../published/nist/Eckerle4.dat"),
        "Gauss1.dat" => include_str!("../../published/nist/Gauss1.dat"),
        "Gauss2.dat" => include_str!("../../published/nist/Gauss2.dat"),
        "Gauss3.dat" => include_str!("../../published/nist/Gauss3.dat"),
        "Lanczos1.dat" => include_str!("../../published/nist/Lanczos1.dat"),
        "Lanczos2.dat" => include_str!("../../published/nist/Lanczos2.dat"),
        "MGH10.dat" => include_str!("../../published/nist/MGH10.dat"),
        "MGH17.dat" => include_str!("../../published/nist/MGH17.dat"),
        "Misra1b.dat" => include_str!("../../published/nist/Misra1b.dat"),
        "Misra1d.dat" => include_str!("../../published/nist/Misra1d.dat"),
        "Nelson.dat" => include_str!("../../published/nist/Nelson.dat"),
        "Rat42.dat" => include_str!("../../published/nist/Rat42.dat"),
        "Rat43.dat" => include_str!("../../published/nist/Rat43.dat"),
        "Roszman1.dat" => include_str!("../../published/nist/Roszman1.dat"),
        other => panic!("{other} is not among the data"),
    }
}

#[derive(Deserialize)]
struct Certified {
    linear: Vec<Linear>,
    nonlinear: Vec<Nonlinear>,
}

#[derive(Deserialize)]
struct Linear {
    r_squared: String,
    #[serde(flatten)]
    values: Values,
}

#[derive(Deserialize)]
struct Nonlinear {
    start1: Vec<String>,
    start2: Vec<String>,
    #[serde(flatten)]
    values: Values,
}

#[derive(Deserialize)]
struct Values {
    dataset: String,
    file: String,
    model: String,
    observations: usize,
    parameters: Vec<String>,
    sds: Vec<String>,
    residual_sum_of_squares: String,
    residual_sd: String,
    degrees_of_freedom: usize,
    parameters_within: f64,
    sds_within: f64,
}

fn numbers(texts: &[String]) -> Vec<f64> {
    texts.iter().map(|text| text.parse().unwrap()).collect()
}

/// The rows of a file: a .csv has one line of heads, a .dat names the lines of its data in its own head.
fn rows(name: &str) -> Vec<Vec<f64>> {
    let text = file(name);
    let (first, last) = if name.ends_with(".csv") {
        (2, usize::MAX)
    } else {
        let head = text.lines().find(|line| line.contains("Data  ")).unwrap();
        let range = head.rsplit("lines").next().unwrap();
        let (first, last) = range.trim().trim_end_matches(')').split_once("to").unwrap();
        (first.trim().parse().unwrap(), last.trim().parse().unwrap())
    };
    text.lines()
        .enumerate()
        .filter(|(index, _)| (first..=last).contains(&(index + 1)))
        .map(|(_, line)| {
            line.split([',', ' '])
                .filter(|cell| !cell.is_empty())
                .map(|cell| cell.parse().unwrap())
                .collect()
        })
        .collect()
}

/// How far apart two values are, relative to the expected one; to `scale` where that is zero.
fn apart(given: f64, expected: f64, scale: f64) -> f64 {
    let reference = if expected == 0.0 { scale } else { expected.abs() };
    (given - expected).abs() / reference
}

fn complaints(title: &str, fit: &Fit, values: &Values) -> Vec<String> {
    let mut complaints = Vec::new();
    let mut hold = |what: String, given: f64, expected: f64, scale: f64, within: f64| {
        let apart = apart(given, expected, scale);
        // NaN fails, because it is not at most the tolerance.
        if apart <= within {
            return;
        }
        complaints
            .push(format!("{title}: {what} is {given:e}, certified {expected:e}, apart {apart:e}"));
    };
    let parameters = numbers(&values.parameters);
    for (k, (expected, sd)) in parameters.iter().zip(numbers(&values.sds)).enumerate() {
        hold(format!("parameter {k}"), fit.parameters[k], *expected, 1.0, values.parameters_within);
        hold(
            format!("standard deviation {k}"),
            fit.standard_error(k).unwrap(),
            sd,
            expected.abs(),
            values.sds_within,
        );
    }
    let size = fit.total_sum_of_squares;
    let rss = values.residual_sum_of_squares.parse().unwrap();
    hold(
        "residual sum of squares".into(),
        fit.residual_sum_of_squares,
        rss,
        size,
        values.sds_within,
    );
    let sd = values.residual_sd.parse().unwrap();
    hold(
        "residual standard deviation".into(),
        fit.residual_sd().unwrap(),
        sd,
        size.sqrt(),
        values.sds_within,
    );
    assert_eq!(fit.degrees_of_freedom(), values.degrees_of_freedom);
    assert_eq!(fit.residuals.len(), values.observations);
    complaints
}

#[test]
fn linear_fits_reach_nine_certified_digits_and_eight_on_badly_conditioned_designs() {
    let certified: Certified = toml::from_str(CERTIFIED).unwrap();
    let mut all = Vec::new();
    for set in &certified.linear {
        let values = &set.values;
        let rows = rows(&values.file);
        let y: Vec<f64> = rows.iter().map(|row| row[0]).collect();
        let fit = if let Some(degree) = values.model.strip_prefix("polynomial degree ") {
            let x: Vec<f64> = rows.iter().map(|row| row[1]).collect();
            fit_polynomial(&x, &y, degree.parse().unwrap())
        } else if values.model.contains("no intercept") {
            let columns: Vec<Vec<f64>> = rows.iter().map(|row| row[1..].to_vec()).collect();
            fit_linear(&columns, &y, Intercept::None)
        } else {
            let columns: Vec<Vec<f64>> = rows
                .iter()
                .map(|row| std::iter::once(1.0).chain(row[1..].to_vec()).collect())
                .collect();
            fit_linear(&columns, &y, Intercept::Included)
        };
        let fit = fit.unwrap();
        all.extend(complaints(&values.dataset, &fit, values));
        let r_squared: f64 = set.r_squared.parse().unwrap();
        let apart = apart(fit.r_squared().unwrap(), r_squared, 1.0);
        if apart > values.parameters_within {
            all.push(format!(
                "{}: R² {:?}, certified {r_squared}",
                values.dataset,
                fit.r_squared()
            ));
        }
    }
    assert!(all.is_empty(), "{}", all.join("\n"));
    assert_eq!(certified.linear.len(), 6);
}

#[test]
fn all_27_nonlinear_fits_reach_six_certified_digits_from_both_starts() {
    let certified: Certified = toml::from_str(CERTIFIED).unwrap();
    let mut all = Vec::new();
    for set in &certified.nonlinear {
        let rows = rows(&set.values.file);
        let logarithmic = set.values.model.starts_with("log(y)");
        let model = Formula {
            formula: formula(&set.values.model),
            y: rows.iter().map(|row| if logarithmic { row[0].ln() } else { row[0] }).collect(),
            x: rows.iter().map(|row| row[1..].to_vec()).collect(),
        };
        for (name, start) in [("start 1", &set.start1), ("start 2", &set.start2)] {
            let title = format!("{} from {name}", set.values.dataset);
            match fit_nonlinear(&model, &numbers(start)) {
                Ok(fit) => all.extend(complaints(&title, &fit, &set.values)),
                Err(error) => all.push(format!("{title}: {error}")),
            }
        }
    }
    assert!(all.is_empty(), "{}", all.join("\n"));
    assert_eq!(certified.nonlinear.len(), 27);
}

/// A model written once; its exact derivatives come with it.
struct Formula {
    formula: fn(&[Dual], &[f64]) -> Dual,
    y: Vec<f64>,
    x: Vec<Vec<f64>>,
}

impl Model for Formula {
    fn observed(&self) -> &[f64] {
        &self.y
    }

    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        fitted: &mut DVector<f64>,
        mut jacobian: Option<&mut DMatrix<f64>>,
    ) {
        let parameters = Dual::variables(parameters.as_slice());
        for (row, x) in self.x.iter().enumerate() {
            let value = (self.formula)(&parameters, x);
            fitted[row] = value.value();
            if let Some(jacobian) = jacobian.as_deref_mut() {
                for column in 0..parameters.len() {
                    jacobian[(row, column)] = value.derivative(column);
                }
            }
        }
    }
}

/// The model of that name in `certified.toml`.
fn formula(model: &str) -> fn(&[Dual], &[f64]) -> Dual {
    match model {
        "b1*(1-exp(-b2*x))" => |b, x| b[0] * ((-b[1] * x[0]).exp() * -1.0 + 1.0),
        "exp(-b1*x)/(b2+b3*x)" => |b, x| (-b[0] * x[0]).exp() / (b[1] + b[2] * x[0]),
        "b1*exp(-b2*x)+b3*exp(-b4*x)+b5*exp(-b6*x)" => |b, x| {
            let part = |at: usize| b[at] * (-b[at + 1] * x[0]).exp();
            part(0) + part(2) + part(4)
        },
        "b1+b2*exp(-x*b4)+b3*exp(-x*b5)" => {
            |b, x| b[0] + b[1] * (-b[3] * x[0]).exp() + b[2] * (-b[4] * x[0]).exp()
        }
        "b1*x^b2" => |b, x| b[0] * (b[1] * x[0].ln()).exp(),
        "b1*(x^2+x*b2)/(x^2+x*b3+b4)" => |b, x| {
            let square = x[0] * x[0];
            b[0] * (b[1] * x[0] + square) / (b[2] * x[0] + b[3] + square)
        },
        "b1*(1-(1+2*b2*x)^-0.5)" => {
            |b, x| b[0] * ((b[1] * (2.0 * x[0]) + 1.0).power(-0.5) * -1.0 + 1.0)
        }
        "b1*(1-(1+b2*x/2)^-2)" => {
            |b, x| b[0] * ((b[1] * (x[0] / 2.0) + 1.0).power(-2.0) * -1.0 + 1.0)
        }
        "b1*b2*x/(1+b2*x)" => |b, x| b[0] * b[1] * x[0] / (b[1] * x[0] + 1.0),
        "b1*(b2+x)^(-1/b3)" => |b, x| b[0] * ((b[1] + x[0]).ln() / -b[2]).exp(),
        "b1*exp(b2/(x+b3))" => |b, x| b[0] * (b[1] / (b[2] + x[0])).exp(),
        "annual, and two further periods b4 and b7" => |b, x| {
            let turns = std::f64::consts::TAU * x[0];
            let yearly = b[1] * (turns / 12.0).cos() + b[2] * (turns / 12.0).sin();
            let wave = |period: usize| {
                let angle = b[period].power(-1.0) * turns;
                b[period + 1] * angle.cos() + b[period + 2] * angle.sin()
            };
            b[0] + yearly + wave(3) + wave(6)
        },
        "exponential and two peaks" => |b, x| {
            let peak = |at: usize| {
                let off = (-b[at + 1] + x[0]) / b[at + 2];
                b[at] * (-(off * off)).exp()
            };
            b[0] * (-b[1] * x[0]).exp() + peak(2) + peak(5)
        },
        "b1-b2*x-arctan(b3/(x-b4))/pi" => |b, x| {
            let angle = (b[2] / (-b[3] + x[0])).arctan();
            b[0] + -b[1] * x[0] + angle * -std::f64::consts::FRAC_1_PI
        },
        "b1/(1+exp(b2-b3*x))" => |b, x| b[0] / ((b[1] + -b[2] * x[0]).exp() + 1.0),
        "b1/(1+exp(b2-b3*x))^(1/b4)" => {
            |b, x| b[0] * (((b[1] + -b[2] * x[0]).exp() + 1.0).ln() / -b[3]).exp()
        }
        "(b1/b2)*exp(-0.5*((x-b3)/b2)^2)" => |b, x| {
            let off = (-b[2] + x[0]) / b[1];
            b[0] / b[1] * (off * off * -0.5).exp()
        },
        "log(y) = b1-b2*x1*exp(-b3*x2)" => |b, x| b[0] + -b[1] * x[0] * (-b[2] * x[1]).exp(),
        "(b1+b2*x+b3*x^2)/(1+b4*x+b5*x^2)" => |b, x| {
            let (x, square) = (x[0], x[0] * x[0]);
            (b[0] + b[1] * x + b[2] * square) / (b[3] * x + b[4] * square + 1.0)
        },
        "(b1+b2*x+b3*x^2+b4*x^3)/(1+b5*x+b6*x^2+b7*x^3)" => |b, x| {
            let (x, square, cube) = (x[0], x[0] * x[0], x[0] * x[0] * x[0]);
            (b[0] + b[1] * x + b[2] * square + b[3] * cube)
                / (b[4] * x + b[5] * square + b[6] * cube + 1.0)
        },
        other => panic!("the model {other} is not written"),
    }
}
