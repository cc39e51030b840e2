/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The simulated cell: what it reads of the load on the hook, sample by sample or a window at once.
 */
#include <complex.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdint.h>

#include "tank_internal.h"

static const double CREEP_TAU_S[CREEP_STATES] = {4, 30, 200};
static const double CREEP_PART[CREEP_STATES] = {0.3, 0.35, 0.35};
/* Half-widths of the play that each element has. */
static const double LOOP_KG = 4;
static const double PLAY_KG[PLAYS] = {0.05, 0.15, 0.5, 1.5};

/* Each state follows its part of the load with its own time constant, a little faster when the load
   goes down: so the zero returns, and creep is not quite additive. */
static double creep_rate(const struct tank *tank, int i, double goal_kg) {
    bool falling = fabs(goal_kg) < fabs(tank->creep_kg[i]);
    return (falling ? 1 + tank->cell.creep_asymmetry : 1) / CREEP_TAU_S[i];
}

static double creep(struct tank *tank, double load_kg, double dt_s) {
    double sum_kg = 0;
    for (int i = 0; i < CREEP_STATES; i++) {
        double goal_kg = CREEP_PART[i] * tank->creep_rel * load_kg;
        double rate = creep_rate(tank, i, goal_kg);
        tank->creep_kg[i] += (goal_kg - tank->creep_kg[i]) * (1 - exp(-dt_s * rate));
        sum_kg += tank->creep_kg[i];
    }
    return sum_kg;
}

/* Elements with play lag behind the load, whatever its pace (Prandtl's model): the reading falls
   another way than it rose, and a loop of 4 kg is wide by hysteresis_rel of that. */
static double lag(struct tank *tank, double load_kg) {
    double sum_kg = 0, loop_kg = 0;
    for (int i = 0; i < PLAYS; i++) {
        double play_kg = fmin(tank->play_kg[i], load_kg + PLAY_KG[i]);
        tank->play_kg[i] = fmax(play_kg, load_kg - PLAY_KG[i]);
        sum_kg += tank->play_kg[i] - load_kg;
        loop_kg += 2 * PLAY_KG[i];
    }
    return tank->hysteresis_rel * LOOP_KG / loop_kg * sum_kg;
}

static double ringing_kg(const struct tank *tank) {
    const struct tank_cell *cell = &tank->cell;
    double since_s = tank->time_s - tank->touched_s;
    if (since_s < 0 || since_s > 100) {
        return 0;
    }
    return tank->sway_kg * exp(-since_s / cell->sway_decay_s) *
               sin(TURN * since_s / cell->sway_period_s + tank->sway_phase) +
           tank->slosh_kg * exp(-since_s / cell->slosh_decay_s) *
               sin(TURN * since_s / cell->slosh_period_s + tank->slosh_phase);
}

static double noise(struct tank *tank, double dt_s) {
    const struct tank_cell *cell = &tank->cell;
    double r = cell->correlation;
    tank->noise_counts = r * tank->noise_counts +
                         gsl_ran_gaussian(tank->noise, cell->correlated_counts * sqrt(1 - r * r));
    tank->walk_counts += gsl_ran_gaussian(tank->noise, cell->walk_counts_sqrt_s * sqrt(dt_s));
    return gsl_ran_gaussian(tank->noise, cell->white_counts) + tank->noise_counts +
           tank->walk_counts + tank->drift_counts_s * tank->time_s;
}

/* The read began before the data was ready: see how recordings show it, 0x800000 | (word >> k). */
static int32_t maybe_slip(struct tank *tank, int32_t word) {
    if (gsl_rng_uniform(tank->noise) >= tank->cell.bit_slip_chance) {
        return word;
    }
    unsigned k = 1 + (unsigned)gsl_rng_uniform_int(tank->noise, 2);
    uint32_t slipped = 0x800000U | (((uint32_t)word & 0xFFFFFFU) >> k);
    return (int32_t)slipped - 0x1000000;
}

static double spike(struct tank *tank) {
    bool spiked =
        tank->cell.spike_chance > 0 && gsl_rng_uniform(tank->noise) < tank->cell.spike_chance;
    return spiked ? gsl_ran_gaussian(tank->noise, tank->cell.spike_counts) : 0;
}

static int32_t read_cell(struct tank *tank, double dt_s) {
    double load_kg = tank_load_now(tank);
    double bent_kg = load_kg + creep(tank, load_kg, dt_s) + lag(tank, load_kg) + ringing_kg(tank);
    bent_kg += tank->curvature_per_kg * bent_kg * bent_kg;
    double counts = tank->offset_counts + tank->counts_per_kg * bent_kg + noise(tank, dt_s);
    counts += spike(tank);
    counts = fmin(fmax(round(counts), -8388608), 8388607);
    return maybe_slip(tank, (int32_t)counts);
}

size_t tank_sample(struct tank *tank, char *line, size_t size) {
    double dt_s = 1 / tank->cell.rate_hz + gsl_ran_gaussian(tank->noise, tank->cell.jitter_s);
    dt_s = fmax(dt_s, 0.1 / tank->cell.rate_hz);
    tank->time_s += dt_s;
    tank_act_when_due(tank);
    int length = snprintf(line, size, "%.0f,%ld,%.2f\r\n", tank->time_s * 1e3,
                          (long)read_cell(tank, dt_s), tank_thermometer_c(tank));
    return length < 0 ? 0 : (size_t)length;
}

/* ---- whole windows ---- */

/* A spike is seen by the bench beyond this many noise floors. */
static const double SPIKE_SEEN_FLOORS = 8;
static const double FLOOR_SAMPLES = 256;

double tank_ramp_middle_s(const struct tank *tank) {
    return tank->ramp_end_s - RAMP_S / 2;
}

/* The ramp as a step in its middle. */
static double level_kg(const struct tank *tank) {
    return tank->time_s < tank_ramp_middle_s(tank) ? tank->from_kg
                                                   : tank->target_kg + tank_soaked_now_kg(tank);
}

void tank_wait(struct tank *tank, double until_s) {
    tank_act_when_due(tank);
    while (tank->time_s < until_s) {
        double next_s = until_s;
        if (tank->time_s < tank_ramp_middle_s(tank)) {
            next_s = fmin(next_s, tank_ramp_middle_s(tank));
        }
        if (tank->acts > 0) {
            next_s = fmin(next_s, tank->act[0].at_s);
        }
        double dt_s = next_s - tank->time_s;
        creep(tank, level_kg(tank), dt_s);
        lag(tank, level_kg(tank));
        tank->walk_counts +=
            gsl_ran_gaussian(tank->noise, tank->cell.walk_counts_sqrt_s * sqrt(dt_s));
        tank->time_s = next_s;
        tank_act_when_due(tank);
    }
}

/* What a part of the reading adds to a window: mean, the tapered one, slope of the straight line,
   mean square about zero. */
struct part {
    double mean, tapered, slope, square;
};

/* Not every compiler has CMPLX. */
static double complex complex_of(double real, double imaginary) {
    return real + imaginary * (double complex)I;
}

/* Of size * exp(rate t), its imaginary or real part, over t from 0 to length_s. */
struct decaying {
    double complex mean, tapered, slope;
};

static struct decaying decaying(double complex size, double complex rate, double length_s) {
    double complex e = cexp(rate * length_s);
    double complex area = (e - 1) / rate;
    double complex moment = (length_s * e - area) / rate;
    double complex mean = size * area / length_s;
    double turn = TURN / length_s;
    return (struct decaying){.mean = mean,
                             .tapered = mean * turn * turn / (rate * rate + turn * turn),
                             .slope = size * 12 * (moment - area * length_s / 2) /
                                      (length_s * length_s * length_s)};
}

static struct part creep_part(const struct tank *tank, double load_kg, double length_s) {
    struct part part = {0};
    for (int i = 0; i < CREEP_STATES; i++) {
        double goal_kg = CREEP_PART[i] * tank->creep_rel * load_kg;
        struct decaying left =
            decaying(tank->creep_kg[i] - goal_kg, -creep_rate(tank, i, goal_kg), length_s);
        part.mean += goal_kg + creal(left.mean);
        part.tapered += goal_kg + creal(left.tapered);
        part.slope += creal(left.slope);
    }
    return part;
}

static struct part ringing_part(double size, double phase, double period_s, double decay_s,
                                double since_s, double length_s) {
    struct part part = {0};
    double complex rate = complex_of(-1 / decay_s, TURN / period_s);
    double left = size * exp(-since_s / decay_s);
    if (fabs(left) > 1e-9) {
        struct decaying rings =
            decaying(size * cexp(rate * since_s + complex_of(0, phase)), rate, length_s);
        part.mean = cimag(rings.mean);
        part.tapered = cimag(rings.tapered);
        part.slope = cimag(rings.slope);
        part.square =
            left * left / 2 * decay_s / (2 * length_s) * (1 - exp(-2 * length_s / decay_s));
    }
    return part;
}

/* Mean square of the difference of neighbouring samples that the ringing makes. */
static double ringing_step_square(double size, double period_s, double decay_s, double rate_hz,
                                  double since_s) {
    double step = 2 * sin(TURN / 2 / (period_s * rate_hz));
    return size * size * exp(-2 * fmax(since_s, 0) / decay_s) / 2 * step * step;
}

static double floor_counts(struct tank *tank, double end_s) {
    const struct tank_cell *cell = &tank->cell;
    double middle_s = end_s - FLOOR_SAMPLES / 2 / cell->rate_hz - tank->touched_s;
    double ringing = ringing_step_square(tank->sway_kg, cell->sway_period_s, cell->sway_decay_s,
                                         cell->rate_hz, middle_s) +
                     ringing_step_square(tank->slosh_kg, cell->slosh_period_s, cell->slosh_decay_s,
                                         cell->rate_hz, middle_s);
    double noise = cell->white_counts * cell->white_counts +
                   cell->correlated_counts * cell->correlated_counts * (1 - cell->correlation);
    /* A median of so many differences scatters by 7 %. */
    return sqrt(noise + ringing * tank->counts_per_kg * tank->counts_per_kg / 2) *
           (1 + gsl_ran_gaussian(tank->noise, 0.07));
}

/* Spikes too small to be seen stay in the mean. */
static void add_spikes(struct tank *tank, struct tank_window *window, double *variance) {
    double chance = window->readings * tank->cell.spike_chance;
    double n = window->readings;
    unsigned spikes = chance > 0 ? gsl_ran_poisson(tank->noise, chance) : 0;
    for (unsigned i = 0; i < spikes; i++) {
        double size = gsl_ran_gaussian(tank->noise, tank->cell.spike_counts);
        if (fabs(size) > SPIKE_SEEN_FLOORS * window->floor_counts) {
            window->glitches++;
            window->readings--;
        } else {
            window->load_counts += size / n;
            *variance += size * size / n;
        }
    }
}

/* Of a mean of so many samples: so many times its square. */
static double noise_square(const struct tank_cell *cell, double n) {
    double r = cell->correlation;
    double white = cell->white_counts * cell->white_counts;
    double correlated = cell->correlated_counts * cell->correlated_counts;
    return white + correlated * ((1 + r) / (1 - r) - 2 * r / (n * (1 - r) * (1 - r)));
}

/* White, correlated and wandering noise in a mean of so many samples and in a line's slope. */
static void add_noise(struct tank *tank, double length_s, double ringing_square,
                      double ringing_lag1, struct tank_window *window) {
    const struct tank_cell *cell = &tank->cell;
    double n = window->readings, r = cell->correlation;
    double white = cell->white_counts * cell->white_counts;
    double correlated = cell->correlated_counts * cell->correlated_counts;
    double walk = cell->walk_counts_sqrt_s, single = noise_square(cell, n);
    double variance = white + correlated + ringing_square;
    double end = gsl_ran_gaussian(tank->noise, walk * sqrt(length_s));
    window->lag1 = (r * correlated + ringing_lag1 * ringing_square) / variance;
    window->load_counts += tank->walk_counts + end / 2 +
                           gsl_ran_gaussian(tank->noise, walk * sqrt(length_s / 12)) +
                           gsl_ran_gaussian(tank->noise, sqrt(single / n));
    window->slope_counts_s += end / length_s +
                              gsl_ran_gaussian(tank->noise, walk / sqrt(5 * length_s)) +
                              gsl_ran_gaussian(tank->noise, sqrt(12 * single / n) / length_s);
    add_spikes(tank, window, &variance);
    n = window->readings;
    window->lag1 += gsl_ran_gaussian(tank->noise, 1 / sqrt(n)) - (1 + 4 * window->lag1) / n;
    window->sd_counts = sqrt(variance * gsl_ran_chisq(tank->noise, n - 2) / (n - 2));
}

static void ringing_parts(const struct tank *tank, double from_s, double length_s,
                          struct part *sway, struct part *slosh) {
    const struct tank_cell *cell = &tank->cell;
    double since_s = from_s - tank->touched_s;
    *sway = ringing_part(tank->sway_kg, tank->sway_phase, cell->sway_period_s, cell->sway_decay_s,
                         since_s, length_s);
    *slosh = ringing_part(tank->slosh_kg, tank->slosh_phase, cell->slosh_period_s,
                          cell->slosh_decay_s, since_s, length_s);
}

void tank_window(struct tank *tank, double from_s, double length_s, struct tank_window *window) {
    const struct tank_cell *cell = &tank->cell;
    tank_wait(tank, from_s);
    double load_kg = level_kg(tank), half_s = length_s / 2;
    struct part creeping = creep_part(tank, load_kg, length_s), sway, slosh;
    ringing_parts(tank, from_s, length_s, &sway, &slosh);
    double bent_kg = load_kg + lag(tank, load_kg) + creeping.mean + sway.mean + slosh.mean;
    double slope = creeping.slope + sway.slope + slosh.slope;
    double square = sway.square + slosh.square, counts_per_kg = tank->counts_per_kg;
    if (tank->hung == HUNG_WATER && tank->item->soak_kg > 0) {
        const struct tank_item *item = tank->item;
        double left_kg = item->soak_kg - tank_soaked_now_kg(tank);
        bent_kg += left_kg * half_s / item->soak_s;
        slope += left_kg / item->soak_s;
    }
    *window = (struct tank_window){0};
    window->readings = (unsigned)lround(length_s * cell->rate_hz);
    window->glitches = gsl_ran_poisson(tank->noise, window->readings * cell->bit_slip_chance);
    window->readings -= window->glitches < window->readings / 2 ? window->glitches : 0;
    window->floor_counts = floor_counts(tank, from_s + length_s);
    window->load_counts = tank->offset_counts +
                          counts_per_kg * (bent_kg + tank->curvature_per_kg * bent_kg * bent_kg) +
                          tank->drift_counts_s * (from_s + half_s);
    window->slope_counts_s = counts_per_kg * slope + tank->drift_counts_s;
    double turning = sway.square * cos(TURN / (cell->sway_period_s * cell->rate_hz)) +
                     slosh.square * cos(TURN / (cell->slosh_period_s * cell->rate_hz));
    add_noise(tank, length_s, square * counts_per_kg * counts_per_kg,
              square > 0 ? turning / square : 0, window);
}

/* What moves in closed form; of the noise the weights take half as much more than a plain mean has,
   and of what wanders the eightieth part of the window. */
void tank_window_tapered(struct tank *tank, double from_s, double length_s,
                         struct tank_window *window) {
    tank_window(tank, from_s, length_s, window);
    struct part creeping = creep_part(tank, level_kg(tank), length_s), sway, slosh;
    ringing_parts(tank, from_s, length_s, &sway, &slosh);
    double off_kg =
        creeping.tapered + sway.tapered + slosh.tapered - creeping.mean - sway.mean - slosh.mean;
    double square = noise_square(&tank->cell, window->readings) / window->readings / 2;
    double walk = tank->cell.walk_counts_sqrt_s;
    window->tapered_counts = window->load_counts + tank->counts_per_kg * off_kg +
                             gsl_ran_gaussian(tank->noise, sqrt(square)) +
                             gsl_ran_gaussian(tank->noise, walk * sqrt(length_s / 80));
}
