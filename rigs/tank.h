/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A simulated tank with a load cell over it, in virtual time: it knows the truth that a bench must
 * find. Nothing here includes a header of the program it tests except those of physics
 * (upthrust/water.h); it advances only when a sample is asked for, and the same seed gives the same
 * session at any speed.
 *
 * Rig effects are drawn anew for each session from the distributions that rigs/simulated.ini
 * declares to the program (struct tank_declared).
 */
#ifndef TANK_H
#define TANK_H

#include <stdbool.h>
#include <stddef.h>

/* What is declared to the bench about the tank, and from which each session draws the truth. Names
   and numbers stand in rigs/simulated.ini too; tests/rigs checks that they agree. */
struct tank_declared {
    double temp_c, temp_spread_k; /* water: normal about temp_c, spread between sessions */
    double u_thermometer_k;       /* normal, one error a session */
    double solids_max_g_kg;       /* dissolved solids: rectangular from 0 */
    double item_temp_halfwidth_k; /* item above water: rectangular, one an item and session */
    double expansion_low_per_k, expansion_high_per_k; /* rectangular, by item */
    double mass_tolerance_rel; /* reference masses: rectangular half-width, one a mass */
    double air_temp_c, air_pressure_pa, air_humidity; /* declared values */
    double u_air_temp_k, u_air_pressure_pa, u_air_humidity;
    /* share of the air left that one shake frees: rectangular, one an item and session, as the way
       air sits in a thing is the thing's own; each shake differs a little from it */
    double shake_share_low, shake_share_high;
    double swing_most_rad; /* a load that swings reads high by theta^2 / 4: rectangular to that,
                              anew each hanging */
    double cord_diameter_m, tank_area_m2;
    double meniscus_halfwidth_kg; /* rectangular, anew each change of load */
    double hang_sd_kg;            /* wetting and hanging: normal, anew each immersion */
    double depth_m;
    const struct tank_item *gear; /* what lies beside the tank; at most 64 pieces */
    size_t gear_count;
};

/* How the cell behaves; drawn for each session about these. */
struct tank_cell {
    double counts_per_kg; /* slope, and its spread between sessions, relative */
    double counts_per_kg_spread_rel;
    double offset_counts;
    double white_counts, correlated_counts, correlation; /* noise: white, and first-order
                                                            autoregressive with its lag-1 */
    double drift_counts_min, walk_counts_sqrt_s;
    double creep_rel_low, creep_rel_high; /* total share of a load step, either sign, rectangular */
    double creep_asymmetry; /* unloading goes on this much faster: not quite additive */
    double curvature_rel;   /* departure from the straight line at capacity, relative */
    double hysteresis_rel;  /* loop's width as a share of a load's range: at most, from 0 on */
    double capacity_kg;
    double sway_kg, sway_period_s, sway_decay_s; /* after touching, by load */
    double slosh_kg, slosh_period_s, slosh_decay_s;
    double bit_slip_chance;            /* a sample */
    double spike_chance, spike_counts; /* a sample: normal, so that small ones pass any test */
    double rate_hz, jitter_s;
};

struct tank_item {
    char name[80]; /* plainly invented */
    char kind[24], maker[48], model[48], size[24];
    int pieces;
    bool compressible;
    double mass_kg, volume_m3; /* true, at 20 C */
    double trapped_kg;         /* mean lift of the air caught at an immersion; 0 for none */
    double soak_kg, soak_s;    /* takes up so much water, with this time constant under water */
    double gas_m3;  /* of the volume: gas that follows the pressure, at the tank's depth */
    double tip_kg;  /* hung level: so much more hangs on the hook than half of it */
    bool reference; /* a solid body: no expansion to speak of */
};

/* A shake keeps the item off the hook so long. */
#define TANK_SHAKE_S 6.0

struct tank;

struct tank_declared tank_declared_default(void);
struct tank_cell tank_cell_default(void);

/* The demonstration's gear. */
const struct tank_item *tank_gear(size_t *count);

/* Solid bodies of known mass and volume, none of the gear. */
const struct tank_item *tank_references(size_t *count);

/* The caller destroys what it created. */
struct tank *tank_create(const struct tank_declared *declared, const struct tank_cell *cell,
                         unsigned long seed);
/* The same tank at the same moment, with the same chance before it. */
struct tank *tank_clone(const struct tank *tank);
void tank_destroy(struct tank *tank);

/* One more sample: the line as the rig prints it, "time_ms,counts,temp_c\r\n", NUL ended; returns
   its length. Device time moves on by about 1 / rate_hz. */
size_t tank_sample(struct tank *tank, char *line, size_t size);
double tank_time_s(const struct tank *tank);

/* An operator's act, named as in the operator protocol: bare-hook, add-ballast, empty-in-air,
   hang-in-air, empty-in-water, immerse, shake, lift-out, hang-mass, hang-reference, hang-level,
   lower-hanger. It takes effect at device time at_s, or at once when that has passed; acts given
   out of order are done in the order of time, and one that comes within a shake ends it. item where
   the act needs one; number: the mass in kg, or for lower-hanger the depth in m. False, changing
   nothing, for an act or item it does not know or that cannot be done now. */
bool tank_act(struct tank *tank, const char *act, const char *item, double number, double at_s);

/*
 * The same tank by whole windows instead of samples: the same forces, creep, play and ringing in
 * closed form, and noise as a mean of so many samples has it. Device time moves on without samples.
 */
struct tank_window {
    double load_counts, slope_counts_s; /* mean, and slope of the straight line */
    double tapered_counts;  /* of tank_window_tapered: samples count by 1 - cos(2 pi t / length) */
    double sd_counts, lag1; /* about that line, estimates from so many samples */
    double floor_counts;    /* noise floor of the stream's last 256 samples, by their differences */
    unsigned readings, glitches; /* glitches that any test sees are no readings */
};

void tank_wait(struct tank *tank, double until_s);
/* Moves on to from_s and computes what the samples from there over length_s would show. */
void tank_window(struct tank *tank, double from_s, double length_s, struct tank_window *window);
void tank_window_tapered(struct tank *tank, double from_s, double length_s,
                         struct tank_window *window);
/* The reading now, were there no drift, creep, play, ringing, bend or noise. */
double tank_ideal_counts(const struct tank *tank);
/* When the latest change of the load came to stand, found from the trace as the last time the
   ringing came half way back; change_counts: what the load changed by. */
double tank_step_s(const struct tank *tank, double change_counts);

/* What the thermometer shows, with this session's error. */
double tank_thermometer_c(const struct tank *tank);

/* The truth, in grams: an item's net buoyancy in the tank's own water with all air out, the item at
   the water's temperature, and with the water that it has taken up until it was last lifted out; or
   in another water, whose true density is drawn once a session and name from a normal distribution
   about the declared density. NaN for an unknown item. */
double tank_truth_in_tank_g(const struct tank *tank, const char *item);
double tank_truth_in_water_g(const struct tank *tank, const char *item, const char *water,
                             double density_kg_m3, double u_density_kg_m3, double temp_c);
/* The same for a water whose density lies anywhere within a half-width. */
double tank_truth_in_range_g(const struct tank *tank, const char *item, const char *water,
                             double density_kg_m3, double halfwidth_kg_m3, double temp_c);

#endif
