/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The live screen as cells of text: what a person with wet hands reads from two metres away. Pure
 * layout, no terminal: the same view gives the same cells.
 *
 * From 80x24 cells on everything has its place and grows with the screen; on a smaller one the
 * first line is a warning, and what to do now stands below in plain lines. Text from outside is
 * made harmless here; letters of more than one byte become '?' where the canvas is not UTF-8.
 */
#pragma once

#include "bench/procedure.h"
#include "text/style.h"

/* Colour is only a second sign: each of them stands beside words. */
enum up_live_style {
    UP_LIVE_PLAIN,
    UP_LIVE_STRONG,
    UP_LIVE_TITLE,
    UP_LIVE_DO,   /* your turn */
    UP_LIVE_WAIT, /* nothing to do now */
    UP_LIVE_BAD,
    UP_LIVE_GOOD,
    UP_LIVE_STYLES
};

enum { UP_CELL_BYTES = 16, UP_LIVE_COLUMNS = 80, UP_LIVE_ROWS = 24 };

/* A wide letter stands in the first of its two cells, the second is empty: text[0] == 0. Marks
   stand with their letter. */
struct up_cell {
    char text[UP_CELL_BYTES];
    enum up_live_style style;
};

struct up_canvas {
    int rows, columns;
    bool utf8;
    struct up_cell *cell; /* rows * columns of them, row by row; the caller's */
};

struct up_live_fault {
    double at_s; /* of the session */
    bool note;   /* a remark: nothing went wrong */
    const char *text;
};

struct up_live_view {
    struct up_style style;              /* units of what is drawn here */
    const char *what, *bench;           /* "measure", the rig's name */
    const char *item_name;              /* NULL while calibrating */
    const char *place;                  /* in a queue; NULL where there is none */
    double elapsed_s;                   /* of the session */
    enum up_live_style mood;            /* UP_LIVE_DO, UP_LIVE_WAIT or UP_LIVE_BAD */
    const char *words;                  /* for large letters */
    const char *sentence;               /* all of it, in normal letters */
    double load, noise;                 /* difference to the tare; NaN: there is none to show */
    const char *load_unit;              /* "g"; not calibrated: "kg", "counts" */
    bool in_air;                        /* the item hangs dry: its weight, no net buoyancy */
    double step_g;                      /* of the scale; 0 while calibrating */
    struct up_reading_progress reading; /* of the reading under way */
    double temp_c;                      /* of the water; NaN: not known */
    double g_per_count;                 /* 0 while calibrating */
    const struct up_trial *trial;
    unsigned trials, trials_planned;
    bool at_most;                             /* it may end with fewer of them */
    const struct up_calibration_point *point; /* calibrating: the loadings so far */
    unsigned points, points_planned;
    const struct up_result *result; /* of the trials so far, the tank's first */
    unsigned results;
    const struct up_water *water; /* asked for, beside the tank's own */
    unsigned waters;
    const struct up_live_fault *fault; /* the newest last */
    unsigned faults;
    bool quick;       /* a quick weighing: no probabilities, the class of the tank */
    const char *told; /* that class, while the item still hangs; NULL: none yet */
    bool asks;        /* an answer is waited for */
    bool question;    /* only an answer: nothing is to be done first */
    bool accepts;     /* Enter weighs again, the word accept keeps it */
    const char *unit; /* of the number that is wanted; NULL where none is */
    const char *how;  /* to answer; NULL: by the keyboard */
    const char *typed, *refused;
    bool finished; /* words and sentence are the result, which stays until a key or the pedal */
    bool by_pedal;
};

void up_live_draw(const struct up_live_view *view, struct up_canvas *canvas);

/* The result for large letters, and in a sentence what it is of and what to do with it. */
void up_live_result(const struct up_result *result, unsigned results, const struct up_style *style,
                    char *words, size_t words_size, char *sentence, size_t size);

/* A few words for large letters; never NULL. */
const char *up_live_words(const struct up_ask *ask, char *buffer, size_t size);
