/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What people look at: the latest results of a catalogue as a table, and as a gnuplot script with
 * its data that draws again wherever its folder is carried.
 */
#pragma once

#include "catalogue/claim.h"
#include "text/style.h"
#include "upthrust/catalogue.h"
#include "upthrust/rig.h"

/* What the bench's reference bodies say of a result (catalogue/verification.h). */
enum up_checked { UP_CHECKED_INSIDE, UP_CHECKED_NOT, UP_CHECKED_OUTSIDE };
enum up_checked up_checked_of(const char *word);
/* "?" or "!" beside a number, "" where a body was inside; and what it means, for the foot. */
const char *up_checked_mark(enum up_checked checked);
const char *up_checked_meaning(enum up_checked checked);

/* The latest result of one item in one water. */
/* The mark for what came by import or merge. */
#define UP_ELSEWHERE_MARK    "<"
#define UP_ELSEWHERE_MEANING "came from elsewhere, by import or merge"

struct up_row {
    char item_id[UP_ID_SIZE], result_id[UP_ID_SIZE];
    char name[UP_NAME_SIZE]; /* raw: escape it for where it goes; "pair: " stands before a pair's */
    int pieces;              /* that were measured, whatever the item says now; 0: not recorded */
    char water[48];
    bool measured;
    double buoyancy_g, expanded_u_g, tolerance_g;
    double stuck_air_g; /* the net may be lower by so much more; NaN: not looked at */
    bool unusual;       /* tolerance_g is not that of the item's kind and pieces */
    double water_temp_c, water_density_kg_m3;
    char class[16];
    bool quick;   /* a quick weighing */
    bool at_most; /* all that is known of the net: at most at_most_g */
    double at_most_g;
    char aside[24];      /* why it was put aside; empty: it was not */
    bool quick_beside;   /* a later quick weighing stands beside this full one */
    bool withdrawable;   /* calculated */
    double foam_depth_m; /* of what gives way to pressure: where it was measured; 0: of no other */
    bool simulated;      /* which its name says too */
    struct up_filling filled;
    char filling[UP_CLAIM_FILLING_SIZE]; /* with what it was filled; empty: nothing to say */
    bool rejudged;                       /* by a later decision, which class and tolerance are of */
    enum up_checked checked;
    bool elsewhere; /* it came by import or merge */
    char made_utc[UP_TIME_SIZE];
    char bench[UP_NAME_SIZE];
    char distinction[40]; /* from others of its name (report/items.h); else empty */
    bool retired;
};

/* The name as it stands beside a number: "pair: ..." and "three pieces: ..." before what hangs
   together, "pieces unknown: ..." where it is not recorded; the caller frees it. */
char *up_item_title(const char *name, int pieces);

/* Before the name of what was never weighed. */

#define UP_SIMULATED "simulated: "

/* A bench, whose calibrations, runs and bodies' checks have no mark of their own: by the latest of
   its rig files. */
bool up_bench_is_simulated(struct up_catalogue *catalogue, const char *bench);

struct up_rows {
    struct up_row *row;
    size_t count;
    size_t withdrawn;    /* left out: calculated, of items that hold gas */
    size_t other_pieces; /* left out: of fewer or more pieces than the item's newest result */
};

/* Rows by falling net buoyancy in fresh water (the tank's where that is lacking), each item's rows
   together. The caller releases them. */
bool up_rows_load(struct up_catalogue *catalogue, struct up_rows *rows, struct up_failure *failure);
/* The newest of each bench. */
bool up_rows_load_by_bench(struct up_catalogue *catalogue, struct up_rows *rows,
                           struct up_failure *failure);
void up_rows_release(struct up_rows *rows);
/* For pictures: retired items are not drawn. */
void up_rows_drop_retired(struct up_rows *rows);

/* One result in words: class, grams, interval, what it means for lead, what it depends on. Of the
   item what is known of it now; NULL: nothing. It returns what was said that its terms explain. */
struct up_result_notes {
    bool stuck, lead;
};
struct up_result_notes up_result_print(const struct up_result *result, const struct up_item *item,
                                       const struct up_style *style, FILE *stream);
/* What it holds for: once, below the results that have the same terms. */
void up_result_terms_print(const struct up_result *result, const struct up_item *item,
                           struct up_result_notes notes, const struct up_style *style,
                           FILE *stream);
/* Those of one measurement, the tank's first: what they have in common is told once. */
void up_results_print(const struct up_result *result, unsigned count, const struct up_item *item,
                      const struct up_style *style, FILE *stream);

/* Everything that is known of one item: the newest result of each water in full, older ones
   briefly. */
bool up_sheet_print(struct up_catalogue *catalogue, const struct up_item *item,
                    const struct up_style *style, FILE *stream, struct up_failure *failure);
/* The same as a JSON document, for the caller to own; NULL where it fails. */
json_t *up_sheet_to_json(struct up_catalogue *catalogue, const struct up_item *item,
                         struct up_failure *failure);

/* The remarks of a result's record (or up_result_to_json) beside its number: trials left out, water
   taken up, reference bodies, two points, a second depth; nothing where there is none of it. */
void up_result_remarks_print(const json_t *content, const struct up_style *style, FILE *stream);
/* Of it, why the trials' mean and the result differ; nothing where they do not. */
void up_corrections_print(const json_t *content, const struct up_style *style, FILE *stream);

/* The derivation of one result from plateaus to class with every number, as a JSON document for the
   caller to own, and the same in words. `wanted` is a result's id or the unique beginning of one
   (four characters at least), or an item's name or id; NULL: the latest result. `water`: of the
   item's results that in this water; NULL: in the tank. NULL where there is none, or it is from
   before the model was kept. */
json_t *up_explain(struct up_catalogue *catalogue, const char *wanted, const char *water,
                   struct up_failure *failure);
void up_explain_print(const json_t *document, const struct up_style *style, FILE *stream);

/* ---- pictures: NAME.gp and NAME.tsv, to be drawn as NAME.svg and NAME.png ---- */

/* On which ground and for which sheet; NULL where one is asked for: light, for a screen. */
struct up_look {
    bool dark, a4; /* for A4, a PDF too */
};

/* Runs `gnuplot -d NAME.gp` there. */
bool up_plot_draw(const char *directory, const char *name, const struct up_look *look,
                  struct up_failure *failure);

/* Where pictures are written, and in which units they are read; their data stay SI. */
struct up_plots {
    const char *directory;
    struct up_style style;
};

/* What the picture of many items shows; NULL where one is asked for: fresh and sea water. */
struct up_view {
    const char *water[2]; /* the second may be NULL */
    const char *rows_are; /* "items", "models": for the line below the title */
    bool grouped;         /* each row is of many items (up_rows_group) */
};

/* Rows by item, a page each UP_PLOT_ROWS of them: items, items-2 and so on; pages of an earlier and
   longer picture are removed. UP_STATUS_UNABLE where there are no rows. */
enum { UP_PLOT_ROWS = 36, UP_PLOT_PAGES = 10 };
bool up_plot_write(const struct up_rows *rows, const struct up_view *view,
                   const struct up_plots *to, unsigned *pages, struct up_failure *failure);

/* The items that have one maker and model, one kind or one size as one row for each water of the
   view: in the middle the median, and from its lowest interval to the highest. What has no first
   water of the view is grouped apart. The caller releases them. */
enum up_group_by { UP_GROUP_MODEL, UP_GROUP_KIND, UP_GROUP_SIZE };
struct up_items;
void up_rows_group(const struct up_rows *rows, const struct up_items *items, enum up_group_by by,
                   const struct up_view *view, struct up_rows *groups);

/* Of one item: waters-ID (net buoyancy by the density of the water), trials-ID, and shares-ID (of
   the uncertainty in `water`, NULL: the tank), ID being the first eight characters of its own.
   `rows` are all of the catalogue. */
bool up_plot_write_item(struct up_catalogue *catalogue, const struct up_rows *rows,
                        const struct up_item *item, const char *water, const struct up_plots *to,
                        struct up_failure *failure);
/* Of an item, or of the pieces of a model: benches-ID, where several benches weighed it, else
 *drawn is false. ID is of the first item. */
bool up_plot_write_benches(struct up_catalogue *catalogue, const struct up_items *items,
                           const struct up_plots *to, bool *drawn, struct up_failure *failure);
/* Of the pieces of a model: sizes-ID, where they have a size and a result, else *drawn is false. */
bool up_plot_write_sizes(const struct up_rows *rows, const struct up_items *items,
                         const struct up_view *view, const struct up_plots *to, bool *drawn,
                         struct up_failure *failure);

/* The latest calibration of each bench, in the order in which the benches were first calibrated,
   those of here first: calibration-1 and so on. *count: how many; none is no failure. */
bool up_plot_write_calibrations(struct up_catalogue *catalogue, const struct up_plots *to,
                                unsigned *count, struct up_failure *failure);

/* In a word or two, how well a calibration lets an item be classed. */
bool up_calibration_is_good(const struct up_calibration *calibration);
const char *up_calibration_verdict(const struct up_calibration *calibration);

/* The control chart of each reference body on each bench that weighed it, in the order of the
   bodies, those weighed here first: reference-1 and so on. *count: how many; none is no failure. */
bool up_plot_write_references(struct up_catalogue *catalogue, const struct up_plots *to,
                              unsigned *count, struct up_failure *failure);

/* The load over the time of one run, with plateaus, glitches and what was done: run-ID, ID being
   the first eight characters of `run_id`. `run` is an id, its beginning, or "latest". With
   the rig that was used (its hash is compared) every reading is drawn, without one the plateaus of
   the journal. */
bool up_plot_write_run(struct up_catalogue *catalogue, const char *run, const struct up_rig *rig,
                       const struct up_plots *to, char run_id[UP_ID_SIZE],
                       struct up_failure *failure);

/* A kit's report (kit/report.h) with the words of its page, and what its numbers are. */
struct up_kit_page {
    const json_t *report;
    const char *text, *standing;
};
/* kit.gp and kit.tsv, drawn as kit.svg, .png and .pdf, one page of A4. */
bool up_plot_kit(const struct up_kit_page *page, const struct up_plots *to,
                 const struct up_look *look, struct up_failure *failure);
