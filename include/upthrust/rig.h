/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The rig file: what hangs where, how a line of the wire looks and what its fields mean.
 *
 * INI, one `key = value` a line; rigs/README.md describes every key. Unknown sections and keys, a
 * key given twice, a bad number and a missing section are refused with the line's number.
 */
#ifndef UPTHRUST_RIG_H
#define UPTHRUST_RIG_H

#include <stdbool.h>

#include "upthrust/failure.h"
#include "upthrust/item.h"
#include "upthrust/masses.h"
#include "upthrust/waters.h"

enum { UP_LOADS_MAX = 8, UP_FIELDS_MAX = 64, UP_RIG_TEXT = 200 };
enum { UP_TRIALS_MAX = 40, UP_TRIAL_SHAKES_MAX = 16 };

enum up_port_kind {
    UP_PORT_PTY,
    UP_PORT_SERIAL,
    UP_PORT_CAPTURE,
    UP_PORT_STDIN,
    UP_PORT_TYPED, /* no wire: the operator types what a scale shows */
};
enum up_parity { UP_PARITY_NONE, UP_PARITY_EVEN, UP_PARITY_ODD };
enum up_flow { UP_FLOW_NONE, UP_FLOW_RTS_CTS, UP_FLOW_XON_XOFF };
enum up_layout {
    UP_LAYOUT_BARE,    /* one number, its unit, status words, and nothing else */
    UP_LAYOUT_FIELDS,  /* columns between separators */
    UP_LAYOUT_NUMBERS, /* the n-th number of a line of any text */
    UP_LAYOUT_LABELS,  /* the number behind a label */
    UP_LAYOUT_JSON,    /* one JSON object a line, numbers as such or as strings */
};
enum up_load_unit {
    UP_LOAD_COUNTS,
    UP_LOAD_G,
    UP_LOAD_KG,
    UP_LOAD_LB,
    UP_LOAD_N,
    UP_LOAD_PRINTED, /* each line names its own */
};
enum up_checksum { UP_CHECKSUM_NONE, UP_CHECKSUM_XOR8, UP_CHECKSUM_SUM8, UP_CHECKSUM_CRC16 };
enum up_unit_missing { UP_UNIT_MISSING_TAKEN, UP_UNIT_MISSING_UNSTABLE, UP_UNIT_MISSING_REFUSED };

enum { UP_WORDS_MAX = 8, UP_WORD_SIZE = 24, UP_LABEL_SIZE = 48 };

/* Words that a device prints beside the number. */
struct up_words {
    char text[UP_WORDS_MAX][UP_WORD_SIZE];
    int count;
};

/* What a serial port is set to; nothing is left as another program had it. */
struct up_port_settings {
    int baud, data_bits, stop_bits;
    enum up_parity parity;
    enum up_flow flow;
    double return_s; /* a device that is lost in a session is waited for so long */
};

/* Where one quantity of a line stands: its column or its number's place, from 1; or its label.
   Field 0 and an empty label: there is none. */
struct up_place {
    int field;
    char label[UP_LABEL_SIZE];
};

/* How bytes become frames, and a frame a sample. A frame is a line unless the rig says otherwise.
 */
struct up_line_rule {
    enum up_layout layout;
    /* frames */
    char frame_end;   /* the byte that ends one; '\n' stands for CR, LF or both */
    char frame_start; /* what comes before it is dropped; 0: none */
    int frame_bytes;  /* a frame of so many bytes, the start among them; 0: frame_end ends it */
    /* which frames count */
    char starts_with[UP_LABEL_SIZE]; /* others are other lines */
    bool pass_other_lines;           /* other lines, and those without the label, are no mistake */
    bool pass_other_bytes;           /* bytes that are no text do not refuse the whole line */
    int drop_lines;                  /* the first good ones of a stream are dropped */
    int columns;                     /* so many fields, no fewer and no more; 0: not checked */
    enum up_checksum checksum;       /* of what stands before checksum_mark */
    char checksum_mark;
    int checksum_base;        /* 16 or 10 */
    char note_mark;           /* lines that begin with it are the device's words; 0: none */
    struct up_place sequence; /* a number that rises by one with each line */
    int sequence_modulus;
    /* the numbers */
    char separator; /* one character; ' ' stands for any run of blanks and tabs */
    bool decimal_comma;
    bool value_on_next_line;            /* the label ends a line, the number is the next one */
    struct up_place load[UP_LOADS_MAX]; /* the first one weighs, the others are watched */
    int loads;
    struct up_place time, temp;
    double time_unit_s; /* seconds in one unit of the time */
    bool time_of_day;   /* the time is HH:MM:SS, a date before it or not */
    enum up_load_unit load_unit;
    int unit_field;
    enum up_unit_missing unit_missing;
    int word_bits;  /* of the converter's raw word; 0 where loads are no raw words */
    double rate_hz; /* nominal; the clock where there is no time */
    /* the status; looked for in status_field, or, where that is 0, anywhere outside the numbers */
    int status_field;
    struct up_words stable, unstable, over, under, ignore;
    /* devices that answer only when asked */
    char poll[UP_RIG_TEXT]; /* sent, its end included, to get poll_lines lines; empty: it talks
                               unasked */
    char poll_end;
    int poll_lines;
    bool poll_only_to_read; /* not while a question is open: its time stands still meanwhile */
};

enum { UP_GPIO_SIZE = 64 };

/* A GPIO line: its chip's path, name or label, and its own name or, in digits, its offset. No chip:
   there is none. */
struct up_gpio {
    char chip[UP_GPIO_SIZE], line[UP_GPIO_SIZE];
};

enum up_bias { UP_BIAS_AS_IS, UP_BIAS_NONE, UP_BIAS_PULL_UP, UP_BIAS_PULL_DOWN };

struct up_gpio_input {
    struct up_gpio at;
    enum up_bias bias;
    bool active_low;
    double debounce_s; /* a level counts once it has stood for so long */
};

struct up_gpio_output {
    struct up_gpio at;
    bool active_low;
};

/* A press is short, long, or one of two; of a pedal that is down for longer than stuck_s none. */
struct up_pedal_rule {
    struct up_gpio_input input;
    double long_s;   /* held for as long, and let go: long */
    double double_s; /* pressed again so soon after it was let go: double */
    double stuck_s;
};

/* What a lamp can say; the last one stands for a lamp that says all that has none of its own. */
enum up_lamp {
    UP_LAMP_WAITING,
    UP_LAMP_SETTLING,
    UP_LAMP_YOUR_TURN,
    UP_LAMP_POSITIVE,
    UP_LAMP_NEUTRAL,
    UP_LAMP_NEGATIVE,
    UP_LAMP_UNDECIDED,
    UP_LAMP_FAULT,
    UP_LAMP_ALL,
    UP_LAMPS
};

struct up_rig {
    char path[512]; /* the file it was read from */
    char id[UP_NAME_SIZE], name[UP_NAME_SIZE];
    char sha256[UP_SHA256_SIZE]; /* of the values of the sections line and sensor */
    bool simulated;              /* no gear is weighed there: its results say so for ever */
    enum up_port_kind port_kind;
    char
        port_path[512]; /* of serial ports also usb:VENDOR:PRODUCT[:SERIAL], four hex digits each */
    struct up_port_settings port;
    struct up_line_rule line;
    double capacity_kg, division_counts, u_thermometer_k;
    /* the tank */
    enum up_water_model water;
    struct up_water_given water_given; /* as the file says it */
    double solids_max_g_kg;     /* fresh water of which no more is known: solids lie in 0 to this */
    struct up_water tank_water; /* from all that; temperatures aside */
    double temp_c;              /* where no sensor measures it; NaN: the operator is asked */
    double tank_area_m2, cord_diameter_m, depth_m, meniscus_kg, ballast_kg;
    /* the place */
    double latitude_deg, altitude_m; /* NaN: not given */
    struct up_quantity gravity_m_s2; /* given, or from the latitude, or standard */
    /* the air over it */
    struct up_air air;
    double mass_tolerance_rel; /* of the reference masses, half-width; where they have no class */
    enum up_mass_class mass_class;
    double item_temp_halfwidth_k;
    /* the procedure */
    double read_after_s; /* middle of the reading window, after the load's step */
    double window_s;
    double patience_s;  /* waited beyond that for a reading that settles */
    double absent_s;    /* an ask without an answer for so long repeats its step; 0: never */
    double shake_share; /* least share of the trapped air that one shake frees; NaN: not known */
    double stuck_share; /* of all trapped air at most this stays through any number of shakes */
    int shakes_max, trials;
    double calibration_days; /* an older calibration is reported */
    /* lines at the bench */
    struct up_pedal_rule pedal;
    struct up_gpio_input level; /* the float switch: active while there is water enough */
    struct up_gpio_output shaker, buzzer;
    double shaker_limit_s; /* the shaker runs no longer at a time */
    struct up_gpio lamp[UP_LAMPS];
    bool lamps_active_low;
    double result_s; /* a class is shown for so long */
};

/* UP_STATUS_WRONG_INPUT, naming file, line and what to do. */
bool up_rig_load(const char *path, struct up_rig *rig, struct up_failure *failure);

/* The same from text in memory; `name` stands for the file in messages. */
bool up_rig_parse(const char *name, const char *text, struct up_rig *rig,
                  struct up_failure *failure);

/* The same rig with readings that are typed: no schedule can be kept, so its times are 0.
   UP_STATUS_WRONG_INPUT where its loads are counts, which no display shows. */
bool up_rig_type_readings(struct up_rig *rig, struct up_failure *failure);

/* The whole text of a rig file, to be kept with a run; NULL and a failure where it cannot be read.
   The caller frees it. */
char *up_rig_read_text(const char *path, struct up_failure *failure);

/* Its key in the rig file: "waiting", "settling", "your_turn", ..., "all" */
const char *up_lamp_name(enum up_lamp lamp);

/* "g", "kg", "lb", "N"; "counts" */
const char *up_load_unit_name(enum up_load_unit unit);

/* Writes a rig file that differs from `text` only in `path =` of its section [port]. */
bool up_rig_write_with_port(const char *text, const char *port_path, const char *file,
                            struct up_failure *failure);

#endif
