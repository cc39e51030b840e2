/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The rig file: what hangs where, how a line of the wire looks and what its fields mean.
 *
 * INI, one `key = value` a line; rigs/README.md tells every key. Unknown sections and keys, a key
 * given twice, a bad number and a missing section are refused with the line's number.
 */
#ifndef UPTHRUST_RIG_H
#define UPTHRUST_RIG_H

#include <stdbool.h>

#include "upthrust/failure.h"
#include "upthrust/item.h"
#include "upthrust/masses.h"
#include "upthrust/water.h"

enum { UP_LOADS_MAX = 8, UP_FIELDS_MAX = 64, UP_RIG_TEXT = 200 };
enum { UP_TRIALS_MAX = 40, UP_TRIAL_SHAKES_MAX = 16 };

enum up_port_kind { UP_PORT_PTY, UP_PORT_SERIAL, UP_PORT_CAPTURE, UP_PORT_STDIN };
enum up_parity { UP_PARITY_NONE, UP_PARITY_EVEN, UP_PARITY_ODD };
enum up_flow { UP_FLOW_NONE, UP_FLOW_RTS_CTS, UP_FLOW_XON_XOFF };
enum up_layout { UP_LAYOUT_BARE, UP_LAYOUT_FIELDS };
enum up_load_unit { UP_LOAD_COUNTS, UP_LOAD_G, UP_LOAD_KG, UP_LOAD_LB, UP_LOAD_N };

/* What a serial port is set to; nothing is left as another program had it. */
struct up_port_settings {
    int baud, data_bits, stop_bits;
    enum up_parity parity;
    enum up_flow flow;
    double return_s; /* a device that is gone is waited for so long */
};

/* How a line becomes a sample. Fields are numbered from 1; 0 means "there is none". */
struct up_line_rule {
    enum up_layout layout;
    char separator;               /* one character; ' ' stands for any run of blanks and tabs */
    int load_field[UP_LOADS_MAX]; /* the first one weighs, the others are watched */
    int loads;
    int time_field;
    double time_unit_s; /* seconds in one unit of the time field */
    int temp_field;
    enum up_load_unit load_unit;
    int word_bits;          /* of the converter's raw word; 0 where loads are no raw words */
    double rate_hz;         /* nominal; the clock where there is no time field */
    char poll[UP_RIG_TEXT]; /* sent to get poll_lines lines; empty: the device talks unasked */
    int poll_lines;
};

struct up_rig {
    char path[512]; /* the file it was read from */
    char id[UP_NAME_SIZE], name[UP_NAME_SIZE];
    char sha256[UP_SHA256_SIZE]; /* of the values of the sections line and sensor */
    enum up_port_kind port_kind;
    char
        port_path[512]; /* of serial ports also usb:VENDOR:PRODUCT[:SERIAL], four hex digits each */
    struct up_port_settings port;
    struct up_line_rule line;
    double capacity_kg, division_counts, u_thermometer_k;
    /* the tank */
    enum up_water_model water;
    double salinity_g_kg, u_salinity_g_kg; /* sea water in the tank */
    double solids_max_g_kg;                /* fresh water: dissolved solids lie in 0 to this */
    double temp_c; /* where no sensor tells it; NaN: the operator is asked */
    double tank_area_m2, line_diameter_m, depth_m, meniscus_kg, ballast_kg;
    /* the air over it */
    struct up_air air;
    double mass_tolerance_rel; /* of the reference masses, half-width; where they have no class */
    enum up_mass_class mass_class;
    double item_temp_halfwidth_k;
    /* the procedure */
    double read_after_s; /* middle of the reading window, after the load's step */
    double window_s;
    double patience_s;  /* waited beyond that for a reading that settles */
    double shake_share; /* least share of the trapped air that one shake frees; NaN: not known */
    int shakes_max, trials;
    double calibration_days; /* an older calibration is told */
};

/* UP_STATUS_WRONG_INPUT, naming file, line and what to do. */
bool up_rig_load(const char *path, struct up_rig *rig, struct up_failure *failure);

/* The same from text in memory; `name` stands for the file in messages. */
bool up_rig_parse(const char *name, const char *text, struct up_rig *rig,
                  struct up_failure *failure);

/* Writes a rig file that differs from `text` only in `path =` of its section [port]. */
bool up_rig_write_with_port(const char *text, const char *port_path, const char *file,
                            struct up_failure *failure);

#endif
