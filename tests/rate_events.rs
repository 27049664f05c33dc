//! The planned rate against a general-purpose discrete-event library (`nexosim`): the station as two processes that hand bottles to each
//! other, each step an event whose length is drawn from the job's own strokes, bounces and frictions.
//!
//! Nothing here calls the step chart: what the chart adds up on the mean, this lives through bottle by bottle, and where two loops are
//! nearly as long it sees what a mean cannot. The set-points that a controller is told (travels, the delay of early release) are taken from the plan.

use crate::line_job::{feasible_job, measured};
use crate::queue_line::feed_at_random;
use crate::random_job::{Dice, draws};
use host_sim::job::Job;
use host_sim::job::spec::{ActuatorSpec, TightenSpec};
use host_sim::plan::{self, Plan};
use nexosim::model::{Context, Model, schedulable};
use nexosim::ports::{EventSinkReader, Output, SinkState, event_queue};
use nexosim::simulation::{Mailbox, SimInit, Simulation};
use nexosim::time::MonotonicTime;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use timing_core::Actuator;

/// Jobs whose rate is compared.
const JOBS: u64 = 500;
/// Bottles of each.
const BOTTLES: usize = 300;
/// Bottles after which the station runs steadily.
const START: usize = 10;
/// Share by which the rates may differ.
const WITHIN: f64 = 0.01;
/// Standard gravity, mm/s² (exact: 3rd General Conference on Weights and Measures, 1901).
const G: f64 = 9_806.65;

/// One bottle's way through the station, ms.
#[derive(Clone, Default, Serialize, Deserialize)]
struct Way {
    /// Feed: from the release order until the gate is ordered shut, until that is confirmed, until the next bottle has settled, until the entry
    /// gate is confirmed shut.
    feed: [f64; 4],
    /// Head: from the release order until the jaw is confirmed on the bottle.
    come: f64,
    /// Seat, engage, tighten, disengage, lift.
    work: [f64; 5],
    /// From the order to let go until that is confirmed.
    let_go: f64,
    /// From the order to let go until the bottle is out of the discharge eye; 0 without one.
    out: f64,
}

fn ms(x: f64) -> Duration {
    // The library schedules nothing at the present instant.
    Duration::from_secs_f64((x / 1_000.0).max(1e-9))
}

fn millis(t: MonotonicTime) -> f64 {
    t.duration_since(MonotonicTime::EPOCH).as_secs_f64() * 1_000.0
}

/// The escapement: one bottle in the pocket, let go when the head is ready.
#[derive(Serialize, Deserialize)]
struct Feed {
    let_go: Output<usize>,
    released: Output<f64>,
    ways: Vec<Way>,
    bottle: usize,
    stage: usize,
    loaded: bool,
    wanted: bool,
}

#[Model]
impl Feed {
    async fn ready(&mut self, _: (), cx: &Context<Self>) {
        self.wanted = true;
        self.offer(cx).await;
    }

    async fn offer(&mut self, cx: &Context<Self>) {
        if !(self.loaded && self.wanted) || self.bottle == self.ways.len() {
            return;
        }
        (self.loaded, self.wanted, self.stage) = (false, false, 0);
        self.released.send(millis(cx.time())).await;
        self.let_go.send(self.bottle).await;
        self.next_stage(cx);
    }

    fn next_stage(&mut self, cx: &Context<Self>) {
        let length = self.ways[self.bottle].feed[self.stage];
        cx.schedule_event(ms(length), schedulable!(Self::stage_done), ()).expect("it lies ahead");
    }

    #[nexosim(schedulable)]
    async fn stage_done(&mut self, _: (), cx: &Context<Self>) {
        self.stage += 1;
        if self.stage < 4 {
            self.next_stage(cx);
        } else {
            self.bottle += 1;
            self.loaded = true;
            self.offer(cx).await;
        }
    }
}

/// The head: one bottle in the grip.
#[derive(Serialize, Deserialize)]
struct Head {
    ready: Output<()>,
    /// A bottle came while another was still in the grip.
    met: Output<usize>,
    ways: Vec<Way>,
    early: Option<f64>,
    busy: Option<usize>,
    step: usize,
    /// Bottles for which the next has been called.
    called: usize,
    /// When the last bottle is out of the discharge eye, ms.
    clear_at: f64,
}

#[Model]
impl Head {
    #[nexosim(init)]
    async fn start(&mut self) {
        self.ready.send(()).await;
    }

    async fn come(&mut self, bottle: usize, cx: &Context<Self>) {
        cx.schedule_event(ms(self.ways[bottle].come), schedulable!(Self::caught), bottle).expect("it lies ahead");
    }

    #[nexosim(schedulable)]
    async fn caught(&mut self, bottle: usize, cx: &Context<Self>) {
        if self.busy.replace(bottle).is_some() {
            self.met.send(bottle).await;
        }
        self.step = 0;
        if let Some(early) = self.early {
            cx.schedule_event(ms(early), schedulable!(Self::call), bottle).expect("it lies ahead");
        }
        self.next_step(bottle, cx);
    }

    /// The next bottle is called once for each in the grip: when early release may, or when this one has been let go, whichever is first.
    #[nexosim(schedulable)]
    async fn call(&mut self, bottle: usize) {
        if self.called < bottle + 1 {
            self.called = bottle + 1;
            self.ready.send(()).await;
        }
    }

    fn next_step(&mut self, bottle: usize, cx: &Context<Self>) {
        cx.schedule_event(ms(self.ways[bottle].work[self.step]), schedulable!(Self::step_done), bottle)
            .expect("it lies ahead");
    }

    #[nexosim(schedulable)]
    async fn step_done(&mut self, bottle: usize, cx: &Context<Self>) {
        self.step += 1;
        if self.step < 5 {
            self.next_step(bottle, cx);
            return;
        }
        let wait = self.clear_at - millis(cx.time());
        if wait > 0.0 {
            cx.schedule_event(ms(wait), schedulable!(Self::open), bottle).expect("it lies ahead");
        } else {
            self.open(bottle, cx).await;
        }
    }

    #[nexosim(schedulable)]
    async fn open(&mut self, bottle: usize, cx: &Context<Self>) {
        let way = &self.ways[bottle];
        self.clear_at = millis(cx.time()) + way.out;
        cx.schedule_event(ms(way.let_go), schedulable!(Self::opened), bottle).expect("it lies ahead");
    }

    #[nexosim(schedulable)]
    async fn opened(&mut self, bottle: usize) {
        self.busy = None;
        self.call(bottle).await;
    }
}

/// Draws a job's bottles.
struct Draws<'a> {
    job: &'a Job,
    dice: Dice,
}

impl Draws<'_> {
    /// How long after a contact first moves it has come to rest: the later of two toggles.
    fn bounce(&mut self) -> f64 {
        self.job.machine.contact_bounce_ms * self.dice.unit().max(self.dice.unit())
    }

    fn eye(&mut self, response: f64) -> f64 {
        response + self.bounce() + self.job.machine.eye_filter_ms
    }

    fn told(&mut self, s: &ActuatorSpec, contact: bool) -> f64 {
        if contact { self.job.machine.contact_filter_ms + self.bounce() } else { s.margin_ms }
    }

    fn off(&mut self, s: &ActuatorSpec) -> f64 {
        if self.job.run.spread { s.spread_ms * self.dice.between(-1.0, 1.0) } else { 0.0 }
    }

    fn work(&mut self, a: Actuator) -> f64 {
        let s = self.job.machine.actuators[a.index()];
        s.latency_ms + s.to_work_ms + self.off(&s) + self.told(&s, s.work)
    }

    fn home(&mut self, a: Actuator) -> f64 {
        let s = self.job.machine.actuators[a.index()];
        s.latency_ms + s.to_home_ms + self.off(&s) + self.told(&s, s.home)
    }

    fn mu(&mut self) -> f64 {
        let p = &self.job.product;
        if self.job.run.spread { self.dice.between(p.mu_min, p.mu_max) } else { f64::midpoint(p.mu_min, p.mu_max) }
    }

    /// From rest on the running belt over `mm`: a body at constant acceleration μg until it has the belt's speed.
    fn ride(&self, mu: f64, mm: f64) -> f64 {
        let (v, a, d) = (self.job.product.speed_mm_s, mu * G, mm.max(0.0));
        let until = v * v / (2.0 * a);
        1_000.0 * if d < until { libm::sqrt(2.0 * d / a) } else { v / a + (d - until) / v }
    }

    fn spin(&mut self) -> f64 {
        let (m, p) = (&self.job.machine, &self.job.product);
        let turn = 60_000.0 * p.cap_diameter_mm / (p.roller_rpm * m.roller_diameter_mm);
        match p.tighten {
            TightenSpec::SeatOnly => 0.0,
            TightenSpec::Turns => p.turns * turn + m.roller_ramp_ms / 2.0,
            // The threads meet anywhere within the first turn; the clutch then passes its filter.
            TightenSpec::Torque => (p.turns + self.dice.unit()) * turn + m.roller_ramp_ms / 2.0 + m.contact_filter_ms,
        }
    }

    fn way(&mut self, plan: &Plan) -> Way {
        let (m, p, w) = (&self.job.machine, &self.job.product, &plan.worked);
        let per_mm = 1_000.0 / p.speed_mm_s;
        let latency = |a: Actuator| m.actuators[a.index()].latency_ms;
        let (mu, next) = (self.mu(), self.mu());
        let seen_mm = m.release_eye_mm - w.rest_mm;
        let edge = latency(Actuator::ReleaseGate) + self.ride(mu, seen_mm);
        let tail = latency(Actuator::ReleaseGate) + self.ride(mu, seen_mm + p.diameter_mm) + self.eye(m.eye_off_ms);
        let to_pocket = latency(Actuator::EntryGate) + self.ride(next, m.pocket_eye_mm - w.second_mm) + m.eye_on_ms;
        let settled = (w.settle_mm * per_mm).max(self.eye(0.0));
        let grip = m.actuators[Actuator::Grip.index()];
        let met = edge + (p.diameter_mm / 2.0 - m.release_eye_mm - p.aim_early_mm) * per_mm + self.off(&grip);
        Way {
            feed: [
                (edge + w.gate_shut_mm * per_mm).max(tail),
                self.home(Actuator::ReleaseGate),
                to_pocket + settled,
                self.home(Actuator::EntryGate),
            ],
            come: met + self.told(&grip, grip.work),
            work: [
                self.work(Actuator::Plunger) + p.seat_dwell_ms,
                self.work(Actuator::Rollers) + p.engage_dwell_ms,
                self.spin(),
                p.disengage_dwell_ms + self.home(Actuator::Rollers),
                self.home(Actuator::Plunger),
            ],
            let_go: self.home(Actuator::Grip),
            out: m
                .discharge_eye_mm
                .map_or(0.0, |x| grip.latency_ms + self.ride(mu, x + p.diameter_mm / 2.0) + self.eye(m.eye_off_ms)),
        }
    }
}

/// The ways of a job's bottles.
fn ways(job: &Job, plan: &Plan, seed: u64) -> Vec<Way> {
    let mut dice = Draws { job, dice: Dice::new(seed) };
    (0..BOTTLES).map(|_| dice.way(plan)).collect()
}

/// Runs the station of a job; gives its steady rate per minute, and how many bottles met another in the grip.
fn lived_through(job: &Job, plan: &Plan, ways: Vec<Way>) -> (f64, usize) {
    let mut feed = Feed {
        let_go: Output::default(),
        released: Output::default(),
        ways: ways.clone(),
        bottle: 0,
        stage: 0,
        loaded: true,
        wanted: false,
    };
    let mut head = Head {
        ready: Output::default(),
        met: Output::default(),
        ways,
        early: plan.product.early.map(|d| d.as_micros() as f64 / 1_000.0),
        busy: None,
        step: 0,
        called: 0,
        clear_at: 0.0,
    };
    let (to_feed, to_head) = (Mailbox::new(), Mailbox::new());
    head.ready.connect(Feed::ready, &to_feed);
    feed.let_go.connect(Head::come, &to_head);
    let (sink, mut released) = event_queue(SinkState::Enabled);
    feed.released.connect_sink(sink);
    let (sink, mut met) = event_queue(SinkState::Enabled);
    head.met.connect_sink(sink);
    let bench = SimInit::with_num_threads(1).add_model(feed, to_feed, "feed").add_model(head, to_head, "head");
    let mut simulation: Simulation = bench.init(MonotonicTime::EPOCH).expect("the bench is complete");
    simulation.run().expect("nothing goes wrong in it");
    let at: Vec<f64> = std::iter::from_fn(|| released.try_read()).collect();
    assert_eq!(at.len(), BOTTLES, "{}: it stopped by itself", job.name);
    let rate = (BOTTLES - START - 1) as f64 * 60_000.0 / (at[BOTTLES - 1] - at[START]);
    (rate, std::iter::from_fn(|| met.try_read()).count())
}

/// Rates of 500 random jobs, each lived through for 300 bottles: within 1 % of the plan's.
#[test]
fn the_planned_rate_is_what_a_discrete_event_library_gives() {
    let (mut early, mut worst) = (0, 0.0_f64);
    for seed in 0..JOBS {
        let (job, plan) = feasible_job(seed);
        let (rate, met) = lived_through(&job, &plan, ways(&job, &plan, seed));
        assert_eq!(met, 0, "{}: bottles met in the grip\n{}", job.name, draws(&job));
        early += u32::from(plan.product.early.is_some());
        let off = rate / plan.rate_per_min - 1.0;
        worst = worst.max(off.abs());
        assert!(
            off.abs() < WITHIN,
            "{}: planned {:.2}/min, lived {rate:.2} ({:+.2} %)",
            job.name,
            plan.rate_per_min,
            off * 100.0
        );
    }
    println!("{JOBS} jobs, {early} with early release: worst {:.2} %", worst * 100.0);
    assert!(early >= 20, "the jobs are all alike");
}

/// The first of those jobs on the modelled line, too, both without scatter but that of bounce and threads: they differ by at most 1 %.
#[test]
fn and_what_the_modelled_line_gives() {
    for seed in 0..40 {
        let (mut job, _) = feasible_job(seed);
        job.run.spread = false;
        let plan = plan::plan(&job).expect("it could be planned with scatter");
        let (lived, _) = lived_through(&job, &plan, ways(&job, &plan, seed));
        let (_, rehearsed) = measured(&job);
        let off = rehearsed / lived - 1.0;
        assert!(
            off.abs() < WITHIN,
            "{}: lived {lived:.2}/min, rehearsed {rehearsed:.2} ({:+.2} %)",
            job.name,
            off * 100.0
        );
    }
}

/// One server of fixed time, fed at given times.
#[derive(Serialize, Deserialize)]
struct Server {
    began: Output<f64>,
    service: f64,
    waiting: usize,
    busy: bool,
}

#[Model]
impl Server {
    async fn arrive(&mut self, _: (), cx: &Context<Self>) {
        self.waiting += 1;
        self.serve(cx).await;
    }

    async fn serve(&mut self, cx: &Context<Self>) {
        if self.busy || self.waiting == 0 {
            return;
        }
        self.waiting -= 1;
        self.busy = true;
        self.began.send(millis(cx.time())).await;
        cx.schedule_event(ms(self.service), schedulable!(Self::done), ()).expect("it lies ahead");
    }

    #[nexosim(schedulable)]
    async fn done(&mut self, _: (), cx: &Context<Self>) {
        self.busy = false;
        self.serve(cx).await;
    }
}

/// Bottles that come at given times.
#[derive(Serialize, Deserialize)]
struct Queue {
    next: Output<()>,
    at: Vec<f64>,
    come: usize,
}

#[Model]
impl Queue {
    #[nexosim(init)]
    async fn start(&mut self, cx: &Context<Self>) {
        cx.schedule_event(ms(self.at[0]), schedulable!(Self::arrive), ()).expect("it lies ahead");
    }

    #[nexosim(schedulable)]
    async fn arrive(&mut self, _: (), cx: &Context<Self>) {
        self.next.send(()).await;
        self.come += 1;
        if let Some(at) = self.at.get(self.come) {
            let wait = at - millis(cx.time());
            cx.schedule_event(ms(wait), schedulable!(Self::arrive), ()).expect("it lies ahead");
        }
    }
}

/// The queue before the station, fed at random at 80 % of what it can do: the rate, and the mean wait, of the modelled line and of the
/// library's queue over the same arrivals differ by less than 1 %. Belt travel stands for time, a millimetre for a millisecond.
#[test]
fn the_queue_before_the_line_is_that_of_the_library() {
    let fed = feed_at_random(0.8, 4_000, 11);
    let mut queue = Queue { next: Output::default(), at: fed.came.clone(), come: 0 };
    let mut server = Server { began: Output::default(), service: fed.cycle_mm, waiting: 0, busy: false };
    let (to_queue, to_server) = (Mailbox::new(), Mailbox::new());
    queue.next.connect(Server::arrive, &to_server);
    let (sink, mut began) = event_queue(SinkState::Enabled);
    server.began.connect_sink(sink);
    let bench = SimInit::with_num_threads(1).add_model(queue, to_queue, "queue").add_model(server, to_server, "server");
    bench.init(MonotonicTime::EPOCH).expect("the bench is complete").run().expect("nothing goes wrong in it");
    let began: Vec<f64> = std::iter::from_fn(|| began.try_read()).collect();
    assert_eq!(began.len(), fed.came.len());
    let mean = |of: &[f64]| of.iter().sum::<f64>() / of.len() as f64;
    let waits: Vec<f64> = began.iter().zip(&fed.came).map(|(b, c)| (b - c) / fed.service_mm).collect();
    let (library, line) = (mean(&waits[1..]), mean(&fed.waited));
    println!("mean wait, cycles: library {library:.4}, line {line:.4}");
    assert!(library > 1.0 && (line / library - 1.0).abs() < WITHIN, "library {library}, line {line}");
    let rate = |at: &[f64]| (at.len() - 1) as f64 / (at[at.len() - 1] - at[0]);
    let (library, line) = (rate(&began), rate(&fed.began));
    assert!((line / library - 1.0).abs() < WITHIN, "rate: library {library}, line {line}");
}
