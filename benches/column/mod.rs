//! One column of a table: errors against the truth, and how often the stated intervals hold it.

use tworeach::uncertainty::Measured;

#[derive(Default)]
pub struct Column {
    errors: Vec<f64>,
    us: Vec<f64>,
    held: usize,
    missing: usize,
}

impl Column {
    /// Adds what was stated of a truth; `None` where nothing was.
    pub fn add(&mut self, stated: Option<Measured>, truth: f64) {
        let Some(Measured { value, u, lo, hi }) = stated else {
            self.missing += 1;
            return;
        };
        self.errors.push(value - truth);
        self.us.push(u);
        self.held += usize::from((lo..=hi).contains(&truth));
    }

    /// Root mean square of the errors.
    pub fn rms(&self) -> f64 {
        (self.errors.iter().map(|e| e * e).sum::<f64>() / self.errors.len().max(1) as f64).sqrt()
    }

    /// Prints the column as a line, with three binomial standard errors of 95 %.
    pub fn print(&self, name: &str) {
        let n = self.errors.len().max(1) as f64;
        let bias = self.errors.iter().sum::<f64>() / n;
        let rms = self.rms();
        let u = self.us.iter().sum::<f64>() / n;
        println!(
            "  {name:<32} n {:>5}  bias {bias:>6.2}  rms {rms:>6.2}  mean u {u:>6.2}  rms/u {:>4.2}  coverage {:>5.1} % (95 +- {:.1})  null {}",
            self.errors.len(),
            rms / u,
            100.0 * self.held as f64 / n,
            300.0 * (0.95 * 0.05 / n).sqrt(),
            self.missing
        );
    }
}
