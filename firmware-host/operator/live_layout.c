/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What stands where on the live screen. */
#include <string.h>

#include "live_cells.h"
#include "metrology/statistics.h"
#include "text/text.h"

/* Rows of 24: title 1, place in a queue or gap 1, words 5, gap 1, sentence 2, bar 1, caption 1,
   reading 5, trials 1 + 2, faults 2, answer 1, keys 1. What a larger screen has more goes to them
   in turn. */
enum { PANEL_COLUMNS = 36, TRIAL_COLUMNS = 39, SCALE_ROWS = 12, SCALE_MAX = 4, KEYS_ROWS = 3 };

struct layout {
    int words, words_rows, sentence, bar, caption, reading, scale, list, list_rows, faults,
        fault_rows, answer;
};

/* Words and reading grow alike, then the words get a second line, then the lists their share. */
static struct layout compute_layout(const struct up_canvas *canvas) {
    int spare = canvas->rows - UP_LIVE_ROWS;
    struct layout at = {.words = 2, .scale = 1 + spare / SCALE_ROWS};
    int second_line, fault_more;
    at.scale = at.scale < SCALE_MAX ? at.scale : SCALE_MAX;
    while (at.scale > 1 &&
           live_large_width("+8888.8 g", at.scale) > canvas->columns - PANEL_COLUMNS) {
        at.scale--;
    }
    spare -= 2 * LARGE_ROWS * (at.scale - 1);
    second_line = at.scale == 1 && spare > LARGE_ROWS ? LARGE_ROWS + 1 : 0;
    spare -= second_line;
    fault_more = spare / 2;
    at.words_rows = LARGE_ROWS * at.scale + second_line;
    at.fault_rows = 2 + fault_more;
    at.list_rows = 2 + spare - fault_more;
    at.sentence = at.words + at.words_rows + 1;
    at.bar = at.sentence + 2;
    at.caption = at.bar + 1;
    at.reading = at.caption + 1;
    at.list = at.reading + LARGE_ROWS * at.scale;
    at.faults = at.list + 1 + at.list_rows;
    at.answer = at.faults + at.fault_rows;
    return at;
}

static struct place place_of(int row, int column, int width) {
    return (struct place){.row = row, .column = column, .width = width};
}

static struct place whole_row(const struct up_canvas *canvas, int row) {
    return place_of(row, 0, canvas->columns);
}

/* A value shown as 0.0 hovers. */
static const char *direction(double net_g) {
    return net_g >= 0.05 ? "floats" : net_g <= -0.05 ? "sinks" : "hovers";
}

/* ---- title ---- */

static void fill_row(struct up_canvas *canvas, int row, enum up_live_style style) {
    for (int i = 0; i < canvas->columns; i++) {
        live_put(canvas, place_of(row, i, 1), style, " ");
    }
}

static void draw_title(const struct up_live_view *view, struct up_canvas *canvas) {
    char right[80], temp[8 + UP_SHOWN_SIZE] = "", shown[UP_SHOWN_SIZE];
    unsigned minutes = (unsigned)fmax(view->elapsed_s, 0) / 60;
    int width;
    if (isfinite(view->temp_c)) {
        up_style_temp(&view->style, view->temp_c, shown);
        snprintf(temp, sizeof temp, "  water %s", shown);
    }
    snprintf(right, sizeof right, "%s  %u min ", temp, minutes);
    width = up_text_columns(right);
    fill_row(canvas, 0, UP_LIVE_TITLE);
    live_format(canvas, place_of(0, 1, canvas->columns - width - 2), UP_LIVE_TITLE,
                view->item_name != NULL ? "%s: %s" : "%s on %s", view->what,
                view->item_name != NULL ? view->item_name : view->bench);
    live_put(canvas, place_of(0, canvas->columns - width, width), UP_LIVE_TITLE, right);
    if (view->place != NULL) {
        live_put(canvas, place_of(1, 1, canvas->columns - 2), UP_LIVE_PLAIN, view->place);
    }
}

/* Two rows; a long one takes the gap above too. */
static void draw_sentence(const struct up_live_view *view, struct up_canvas *canvas, int row) {
    struct up_canvas nothing = {.utf8 = canvas->utf8};
    struct place place = place_of(row, 1, canvas->columns - 2);
    int rows = live_wrap(&nothing, place, 3, view->mood, view->sentence);
    place.row -= rows > 2;
    live_wrap(canvas, place, rows, view->mood, view->sentence);
}

/* ---- the reading under way ---- */

static const char *stillness_word(double unrest) {
    return isnan(unrest) ? "" : unrest <= 1 ? "still" : unrest <= 3 ? "nearly still" : "moving";
}

static void draw_bar(const struct up_live_view *view, struct up_canvas *canvas, int row) {
    const struct up_reading_progress *reading = &view->reading;
    int width = canvas->columns / 2 - 4;
    struct place words = place_of(row, width + 3, canvas->columns - width - 4);
    if (!reading->reading) {
        if (view->asks && view->mood == UP_LIVE_DO) {
            live_put(canvas, place_of(row, 1, canvas->columns - 2), UP_LIVE_DO,
                     view->how != NULL    ? "YOUR TURN"
                     : view->unit != NULL ? "YOUR TURN. Type the number, then press Enter."
                     : view->question     ? "YOUR TURN. See the keys at the bottom."
                                          : "YOUR TURN. Press Enter when done.");
        }
        return;
    }
    live_bar(canvas, place_of(row, 1, width), reading->unrest <= 1 ? UP_LIVE_GOOD : UP_LIVE_WAIT,
             reading->whole_s > 0 ? 1 - reading->remaining_s / reading->whole_s : 0);
    if (reading->late_s > 0) {
        live_format(canvas, words, UP_LIVE_BAD, "reading in %.0f s (%.0f s late); %s",
                    reading->remaining_s, reading->late_s, stillness_word(reading->unrest));
    } else {
        live_format(canvas, words, UP_LIVE_STRONG, "reading in %.0f s   %s", reading->remaining_s,
                    stillness_word(reading->unrest));
    }
}

static const char *direction_of(const struct up_live_view *view) {
    return fabs(view->load) <= 3 * view->noise ? "(nothing)" : view->load > 0 ? "DOWN" : "UP";
}

/* What a scale shows, before a calibration; counts as the device sends them. + is down. */
static void show_load(const struct up_live_view *view, double load, char text[UP_SHOWN_SIZE]) {
    bool kg = strcmp(view->load_unit, "kg") == 0;
    if (kg && view->style.imperial) {
        up_style_mass(&view->style, 1e3 * load, text);
    } else {
        snprintf(text, UP_SHOWN_SIZE, kg ? "%+.6g kg" : "%+.0f",
                 kg ? round(1e6 * load) / 1e6 + 0.0 : load);
    }
}

/* "load now: -371.2 g DOWN" */
static void put_load(const struct up_live_view *view, struct up_canvas *canvas,
                     struct place place) {
    char text[UP_SHOWN_SIZE];
    if (strcmp(view->load_unit, "kg") == 0) {
        show_load(view, view->load, text);
        live_format(canvas, place, UP_LIVE_PLAIN, "scale: %s, not calibrated yet", text);
        return;
    }
    if (view->in_air && strcmp(view->load_unit, "g") == 0) {
        up_style_uncertainty(&view->style, fmax(view->load, 0), text); /* without a sign */
        live_format(canvas, place, UP_LIVE_PLAIN, "dry weight, in air: %s", text);
        return;
    }
    if (strcmp(view->load_unit, "g") == 0) {
        up_style_mass(&view->style, fabs(view->load) < 0.05 ? 0 : -view->load, text);
    } else {
        snprintf(text, sizeof text, "%+.0f %s", view->load, view->load_unit);
    }
    live_format(canvas, place, UP_LIVE_PLAIN, "load now: %s %s", text, direction_of(view));
}

/* The unit behind the number where there is room for it. */
static void put_large_grams(struct up_canvas *canvas, struct place place, int scale, char *text) {
    if (live_large_width(text, scale) > place.width) {
        text[strcspn(text, " ")] = '\0';
    }
    live_large(canvas, place, scale, UP_LIVE_STRONG, text);
}

static void draw_load(const struct up_live_view *view, struct up_canvas *canvas,
                      const struct layout *at) {
    /* Grams have the sign of a net buoyancy, + up. */
    bool grams = strcmp(view->load_unit, "g") == 0;
    int width = canvas->columns - PANEL_COLUMNS - 2;
    char text[UP_SHOWN_SIZE];
    if (!isfinite(view->load)) {
        live_put(canvas, place_of(at->caption, 1, width), UP_LIVE_PLAIN, "nothing weighed yet");
        return;
    }
    put_load(view, canvas, place_of(at->caption, 1, width));
    if (grams && view->in_air) {
        up_style_brief(&view->style, fmax(view->load, 0), text);
        memmove(text, text + 1, strlen(text)); /* a weight has no sign */
    } else if (grams) {
        up_style_brief(&view->style, -view->load, text);
    } else {
        show_load(view, view->load, text);
    }
    put_large_grams(canvas, place_of(at->reading, 1, width), at->scale, text);
}

/* ---- probabilities and waters ---- */

static void draw_probability(struct up_canvas *canvas, struct place place, const char *word,
                             double probability, bool chosen) {
    enum up_live_style style = chosen ? UP_LIVE_GOOD : UP_LIVE_PLAIN;
    live_put(canvas, place, chosen ? UP_LIVE_STRONG : UP_LIVE_PLAIN, word);
    live_bar(canvas, place_of(place.row, place.column + 9, place.width - 15), style, probability);
    live_format(canvas, place_of(place.row, place.column + place.width - 5, 5), style, "%.3f",
                probability);
}

static void draw_probabilities(struct up_canvas *canvas, struct place place,
                               const struct up_answer *answer) {
    draw_probability(canvas, place, "floats", answer->probability_positive,
                     answer->class == UP_CLASS_POSITIVE);
    place.row++;
    draw_probability(canvas, place, "neutral", answer->probability_neutral,
                     answer->class == UP_CLASS_NEUTRAL);
    place.row++;
    draw_probability(canvas, place, "sinks", answer->probability_negative,
                     answer->class == UP_CLASS_NEGATIVE);
}

/* What it is at most, where nothing else is known of it. */
static double shown_g(const struct up_style *style, const struct up_result *result) {
    bool most = result->quick.is && result->quick.at_most;
    return most ? up_style_bound(style, 1e3 * result->quick.high_kg)
                : 1e3 * result->answer.buoyancy_kg.value;
}

static void head_result(const struct up_live_view *view, struct up_canvas *canvas,
                        struct place place, const struct up_result *result) {
    const struct up_answer *answer = &result->answer;
    char net[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE];
    up_style_brief(&view->style, shown_g(&view->style, result), net);
    if (result->quick.is && result->quick.at_most) {
        live_format(canvas, place, UP_LIVE_STRONG, "%s: %s,%s%s", result->water.name,
                    up_class_name(answer->class), " at most ", net);
        return;
    }
    up_style_interval(&view->style, 1e3 * answer->expanded_u_kg, 1e3 * answer->stuck_air_kg, u);
    net[view->style.imperial ? strcspn(net, " ") : strlen(net)] = '\0'; /* ounces take more room */
    live_format(canvas, place, UP_LIVE_STRONG, "%s %s %s: %s", result->water.name, net, u,
                up_class_name(answer->class));
}

/* To be read from two metres away: the grams in large letters, and where there is room below them,
   the probabilities. Returns the rows used. */
static int draw_first_result(const struct up_live_view *view, struct up_canvas *canvas,
                             struct place place, int rows) {
    const struct up_result *result = &view->result[0];
    double net_g = shown_g(&view->style, result);
    char text[UP_SHOWN_SIZE];
    head_result(view, canvas, place, result);
    place.row++;
    up_style_brief(&view->style, net_g, text);
    if (isfinite(net_g)) {
        put_large_grams(canvas, place, 1, text);
    }
    place.row += LARGE_ROWS;
    if (rows < 1 + LARGE_ROWS + 3 || view->quick) {
        return 1 + LARGE_ROWS;
    }
    draw_probabilities(canvas, place, &result->answer);
    return 1 + LARGE_ROWS + 3;
}

/* "fresh 20.0 C", or with its class where there is one; "at most" takes the temperature's room. */
static void name_water(const struct up_live_view *view, unsigned i, char *text, size_t size) {
    const struct up_water *water = &view->water[i];
    char temp[UP_SHOWN_SIZE], net[UP_SHOWN_SIZE];
    up_style_temp(&view->style, water->temp_c, temp);
    if (i + 1 < view->results) {
        const struct up_result *result = &view->result[i + 1];
        bool most = result->quick.is && result->quick.at_most;
        up_style_brief(&view->style, shown_g(&view->style, result), net);
        snprintf(text, size, "%.40s%s%s: %s%s, %s", water->name, most ? "" : " ", most ? "" : temp,
                 most ? "at most " : "", net, up_class_name(result->answer.class));
    } else {
        snprintf(text, size, "%.40s %s", water->name, temp);
    }
}

/* Each other water in four rows where there is room, else in one. Returns how many fit. */
static unsigned draw_panel(const struct up_live_view *view, struct up_canvas *canvas,
                           const struct layout *at) {
    struct place place = place_of(at->caption, canvas->columns - PANEL_COLUMNS, PANEL_COLUMNS - 1);
    int end = at->list, block = 5;
    unsigned i = 0;
    if (view->g_per_count == 0) {
        return view->waters;
    }
    if (view->results > 0) {
        place.row += draw_first_result(view, canvas, place, end - place.row);
    } else if (view->told != NULL) {
        live_format(canvas, place, UP_LIVE_PLAIN, "tank: %s, not final yet", view->told);
        place.row += 1;
    } else {
        live_put(canvas, place, UP_LIVE_PLAIN,
                 view->quick        ? "no class yet"
                 : view->trials < 2 ? "classes appear after two trials"
                                    : "there is no result yet");
        place.row += 1;
    }
    while (!view->quick && i + 1 < view->results &&
           place.row + block * (int)(view->waters - i) <= end) {
        place.row++;
        head_result(view, canvas, place, &view->result[++i]);
        place.row++;
        draw_probabilities(canvas, place, &view->result[i].answer);
        place.row += 3;
    }
    for (; i < view->waters && place.row < end; i++, place.row++) {
        char text[160];
        name_water(view, i, text, sizeof text);
        live_put(canvas, place, UP_LIVE_PLAIN, text);
    }
    return i;
}

/* What found no place in the panel, in one row; what is left over is counted. */
static void draw_waters(const struct up_live_view *view, struct up_canvas *canvas, int row,
                        unsigned from) {
    unsigned beside = (unsigned)(canvas->columns / TRIAL_COLUMNS);
    for (unsigned i = from; i < view->waters && i - from < beside; i++) {
        char text[160];
        name_water(view, i, text, sizeof text);
        if (i - from + 1 == beside && i + 1 < view->waters) {
            snprintf(text, sizeof text, "and %u waters more", view->waters - i);
        }
        live_put(canvas, place_of(row, 1 + (int)(i - from) * TRIAL_COLUMNS, TRIAL_COLUMNS - 1),
                 UP_LIVE_STRONG, text);
    }
}

/* ---- trials, loadings ---- */

static double net_g(const struct up_live_view *view, const struct up_trial *trial) {
    return -trial->load_counts * view->g_per_count;
}

/* Steps round a load and its tare, which scatter does not show where it is smaller. */
static void say_spread(const struct up_live_view *view, double sd_g, char *text, size_t size) {
    double share_g = view->step_g / sqrt(6);
    snprintf(text, size, sd_g < share_g ? "hidden by its steps (%.2f %s)" : "%.2f %s (st. dev.)",
             up_style_in_unit(&view->style, fmax(sd_g, share_g)), up_style_unit(&view->style));
}

/* Mean and spread are those of the trials that count. */
static void head_trials(const struct up_live_view *view, struct up_canvas *canvas, int row) {
    double net[UP_TRIALS_MAX] = {0};
    struct place place = place_of(row, 1, canvas->columns - 2);
    const char *of = view->at_most ? "of at most" : "of";
    struct up_summary summary;
    size_t kept = 0;
    for (unsigned i = 0; i < view->trials; i++) {
        if (!view->trial[i].left_out) {
            net[kept++] = net_g(view, &view->trial[i]);
        }
    }
    if (kept < 2) {
        live_format(canvas, place, UP_LIVE_STRONG, "trials: %u %s %u", view->trials, of,
                    view->trials_planned);
        return;
    }
    summary = up_summarise(net, kept);
    char mean[UP_SHOWN_SIZE], spread[2 * UP_SHOWN_SIZE];
    up_style_brief(&view->style, summary.mean, mean);
    say_spread(view, summary.sd, spread, sizeof spread);
    live_format(canvas, place, UP_LIVE_STRONG, "trials: %u %s %u   mean %s, %s   spread %s",
                view->trials, of, view->trials_planned, mean, direction(summary.mean), spread);
}

static void put_trial(const struct up_live_view *view, struct up_canvas *canvas, struct place place,
                      unsigned i) {
    const struct up_trial *trial = &view->trial[i];
    char net[UP_SHOWN_SIZE], gain[UP_SHOWN_SIZE];
    up_style_brief(&view->style, net_g(view, trial), net);
    up_style_brief(&view->style, trial->last_gain_counts * fabs(view->g_per_count), gain);
    if (trial->left_out) {
        live_format(canvas, place, UP_LIVE_BAD, "%2u %10s, LEFT OUT", trial->number, net);
        return;
    }
    if (trial->shakes == 0) {
        live_format(canvas, place, UP_LIVE_PLAIN, "%2u %10s, not shaken", trial->number, net);
        return;
    }
    live_format(canvas, place, trial->still_gaining ? UP_LIVE_BAD : UP_LIVE_PLAIN,
                "%2u %10s, %s %s, %u shake%s", trial->number, net,
                trial->still_gaining ? "GAINING" : "gain", gain + (gain[0] == '+'), trial->shakes,
                trial->shakes == 1 ? "" : "s");
}

static void put_loading(const struct up_live_view *view, struct up_canvas *canvas,
                        struct place place, unsigned i) {
    const struct up_calibration_point *point = &view->point[i];
    char load[UP_SHOWN_SIZE];
    show_load(view, point->load_counts, load);
    live_format(canvas, place, UP_LIVE_PLAIN, "%2u %+9.6g kg: %s", i + 1, point->mass_kg, load);
}

/* The latest ones, row by row, as many beside each other as fit. */
static void draw_list(const struct up_live_view *view, struct up_canvas *canvas,
                      const struct layout *at, int rows) {
    bool measuring = view->g_per_count != 0;
    unsigned count = measuring ? view->trials : view->points;
    unsigned beside = (unsigned)(canvas->columns / TRIAL_COLUMNS);
    unsigned room = beside * (unsigned)rows;
    unsigned first = count > room ? count - room : 0;
    if (measuring) {
        head_trials(view, canvas, at->list);
    } else {
        live_format(canvas, place_of(at->list, 1, canvas->columns - 2), UP_LIVE_STRONG,
                    "loadings: %u of %u", view->points, view->points_planned);
    }
    for (unsigned i = first; i < count; i++) {
        unsigned n = i - first;
        struct place place = place_of(at->list + 1 + (int)(n / beside),
                                      1 + (int)(n % beside) * TRIAL_COLUMNS, TRIAL_COLUMNS - 1);
        if (measuring) {
            put_trial(view, canvas, place, i);
        } else {
            put_loading(view, canvas, place, i);
        }
    }
}

/* ---- faults, answer ---- */

static char *name_fault(const struct up_live_view *view, unsigned i) {
    const struct up_live_fault *fault = &view->fault[i];
    double minutes = floor((view->elapsed_s - fault->at_s) / 60);
    const char *sign = fault->note ? "--" : "!!";
    return minutes >= 1 ? up_text_format("%s %.0f min ago: %s", sign, minutes, fault->text)
                        : up_text_format("%s now: %s", sign, fault->text);
}

/* What to do stands at its end: a long one takes rows from the trials above it. */
static int rows_of_newest(const struct up_live_view *view, const struct up_canvas *canvas,
                          int most) {
    struct up_canvas nothing = {.utf8 = canvas->utf8};
    if (view->faults == 0) {
        return 0;
    }
    UP_FREED char *text = name_fault(view, view->faults - 1);
    return live_wrap(&nothing, place_of(0, 1, canvas->columns - 2), most, UP_LIVE_BAD, text);
}

/* The newest first, as long as it is; older ones below while there is room. */
static void draw_faults(const struct up_live_view *view, struct up_canvas *canvas, int row,
                        int rows) {
    for (unsigned i = view->faults; i > 0 && rows > 0; i--) {
        const struct up_live_fault *fault = &view->fault[i - 1];
        UP_FREED char *text = name_fault(view, i - 1);
        int used = live_wrap(canvas, place_of(row, 1, canvas->columns - 2), rows,
                             i == view->faults && !fault->note ? UP_LIVE_BAD : UP_LIVE_PLAIN, text);
        row += used;
        rows -= used;
    }
}

/* Whole, so that what to do is not cut off: a long one takes rows above it. */
static int draw_upwards(struct up_canvas *canvas, int row, int most, enum up_live_style style,
                        enum up_live_style ground, const char *text) {
    struct up_canvas nothing = {.utf8 = canvas->utf8};
    struct place place = place_of(row, 1, canvas->columns - 2);
    int rows = live_wrap(&nothing, place, most, style, text);
    place.row -= rows - 1;
    for (int i = 0; i < rows; i++) {
        fill_row(canvas, place.row + i, ground);
    }
    live_wrap(canvas, place, rows, style, text);
    return rows;
}

static void draw_answer(const struct up_live_view *view, struct up_canvas *canvas, int row,
                        int most) {
    struct place place = place_of(row, 1, canvas->columns - 2);
    static const char letters[] = "saq";
    static const char *const words[] = {"s: Enter skips this step",
                                        "a: Enter begins again from zero",
                                        "q: Enter stops; what was completed is kept"};
    const char *letter = strchr(letters, view->typed[0]);
    if (view->typed[0] != '\0' && view->typed[1] == '\0' && letter != NULL) {
        draw_upwards(canvas, row, most, UP_LIVE_STRONG, UP_LIVE_PLAIN, words[letter - letters]);
    } else if (view->refused[0] != '\0') {
        UP_FREED char *text = up_text_format("?? %s", view->refused);
        draw_upwards(canvas, row, most, UP_LIVE_BAD, UP_LIVE_PLAIN, text);
    } else if (view->typed[0] != '\0' || (view->asks && view->unit != NULL)) {
        live_format(canvas, place, UP_LIVE_STRONG, "> %s_  %s", view->typed,
                    view->unit != NULL ? view->unit : "");
    }
}

/* At the bottom, in as many rows as they take; returns how many. */
static int draw_keys(const struct up_live_view *view, struct up_canvas *canvas) {
    const char *keys = view->finished       ? "any key: continue"
                       : !view->asks        ? "q and Enter: stop"
                       : view->how != NULL  ? view->how
                       : view->unit != NULL ? "number and Enter: take it   s: skip   a: redo from "
                                              "zero   q: stop"
                       : view->accepts      ? "Enter: weigh again   accept and Enter: keep it   "
                                              "a: redo from zero   q: stop"
                       : view->question     ? "Enter: done   s: skip   a: again   q: stop   "
                                              "(letter, then Enter)"
                                            : "Enter: done   s: skip   a: redo from zero   "
                                              "q: stop   (letter, then Enter)";
    UP_FREED char *text =
        up_text_format("%s%s", keys, view->asks && view->how != NULL ? "  keys too" : "");
    return draw_upwards(canvas, canvas->rows - 1, KEYS_ROWS, UP_LIVE_TITLE, UP_LIVE_TITLE, text);
}

/* ---- all of it ---- */

static void clear(struct up_canvas *canvas) {
    size_t count = (size_t)canvas->rows * (size_t)canvas->columns;
    for (size_t i = 0; i < count; i++) {
        canvas->cell[i] = (struct up_cell){.text = " ", .style = UP_LIVE_PLAIN};
    }
}

/* The measurement is over: each water in one row, that of the large letters first, then what all of
   them have in common; nothing is said twice. */
static void draw_finished(const struct up_live_view *view, struct up_canvas *canvas,
                          const struct layout *at) {
    enum { BELOW = 5 }; /* the sentence with a blank row, what to press */
    struct place place = place_of(at->sentence, 1, canvas->columns - 2);
    unsigned rows = (unsigned)(at->list - at->sentence - BELOW);
    if (view->quick) { /* the class above, its grams below; its trials are no news */
        char text[UP_SHOWN_SIZE];
        up_style_brief(&view->style, shown_g(&view->style, &view->result[0]), text);
        put_large_grams(canvas, place, 1, text);
        place.row += LARGE_ROWS;
        rows = 1;
    }
    for (unsigned i = 0; i < view->results && i < rows; i++, place.row++) {
        bool cut = i + 1 == rows && view->results > rows && !view->quick;
        if (cut) {
            live_format(canvas, place, UP_LIVE_STRONG, "and %u waters more", view->results - i);
        } else {
            head_result(view, canvas, place, &view->result[(i + !view->quick) % view->results]);
        }
    }
    place.row += !view->quick + live_wrap(canvas, place, 2, UP_LIVE_PLAIN, view->sentence);
    live_format(canvas, place, UP_LIVE_DO, "Stored. Press any key%s to continue.",
                view->by_pedal ? " or the pedal" : "");
    if (!view->quick) {
        draw_list(view, canvas, at, at->list_rows);
    }
}

/* What to do comes first and is never cut while there are rows: keys and refusals stand at the
   bottom, the load and older faults give way. */
static void draw_small(const struct up_live_view *view, struct up_canvas *canvas) {
    int row = live_wrap(canvas, whole_row(canvas, 0), 2, UP_LIVE_BAD,
                        "This window is too small: it needs 80x24.");
    int end = canvas->rows - (canvas->rows > 2 ? draw_keys(view, canvas) + 1 : 0);
    if (view->finished && row < end) {
        live_put(canvas, whole_row(canvas, row++), view->mood, view->words);
    }
    row += live_wrap(canvas, whole_row(canvas, row), end - row, view->mood, view->sentence);
    if (isfinite(view->load) && row < end) {
        put_load(view, canvas, whole_row(canvas, row++));
    }
    draw_faults(view, canvas, row, end - row);
    draw_answer(view, canvas, end, end);
}

static void draw_under_way(const struct up_live_view *view, struct up_canvas *canvas,
                           const struct layout *at) {
    draw_sentence(view, canvas, at->sentence);
    draw_bar(view, canvas, at->bar);
    draw_load(view, canvas, at);
    unsigned waters = draw_panel(view, canvas, at);
    bool rest = waters < view->waters && at->list_rows > 0;
    draw_list(view, canvas, at, at->list_rows - rest);
    if (rest) {
        draw_waters(view, canvas, at->list + at->list_rows, waters);
    }
}

void up_live_draw(const struct up_live_view *view, struct up_canvas *canvas) {
    clear(canvas);
    if (canvas->rows < UP_LIVE_ROWS || canvas->columns < UP_LIVE_COLUMNS) {
        draw_small(view, canvas);
        return;
    }
    struct layout at = compute_layout(canvas);
    int more = rows_of_newest(view, canvas, at.fault_rows + at.list_rows) - at.fault_rows;
    if (more > 0) {
        at.list_rows -= more;
        at.faults -= more;
        at.fault_rows += more;
    }
    draw_title(view, canvas);
    live_large_wrap(canvas, place_of(at.words, 1, canvas->columns - 2), at.words_rows, view->mood,
                    view->words);
    if (view->finished) {
        draw_finished(view, canvas, &at);
    } else {
        draw_under_way(view, canvas, &at);
    }
    draw_faults(view, canvas, at.faults, at.fault_rows);
    draw_answer(view, canvas, at.answer, 1 + at.fault_rows);
    draw_keys(view, canvas);
}

/* Short enough for 80 columns. An action that has no words here is called by its name. */
const char *up_live_words(const struct up_ask *ask, char *buffer, size_t size) {
    static const char *const words[UP_ACTIONS] = {
        [UP_ACTION_BARE_HOOK] = "bare hook",
        [UP_ACTION_ADD_BALLAST] = "hang ballast",
        [UP_ACTION_READ_TEMPERATURE] = "temperature?",
        [UP_ACTION_EMPTY_IN_AIR] = "empty hook",
        [UP_ACTION_HANG_IN_AIR] = "hang it dry",
        [UP_ACTION_EMPTY_IN_WATER] = "empty hanger",
        [UP_ACTION_IMMERSE] = "immerse it",
        [UP_ACTION_SHAKE] = "shake it",
        [UP_ACTION_LIFT_OUT] = "lift it out",
        [UP_ACTION_HANG_LEVEL] = "hang it level",
        [UP_ACTION_LOWER_HANGER] = "longer line",
    };
    if (ask->action == UP_ACTION_HANG_MASS) {
        snprintf(buffer, size, "hook: %.6g kg", ask->mass_kg);
    } else if (ask->action == UP_ACTION_CONFIRM) {
        snprintf(buffer, size, "question");
    } else if (words[ask->action] != NULL) {
        snprintf(buffer, size, "%s", words[ask->action]);
    } else {
        snprintf(buffer, size, "%s", up_action_name(ask->action));
        for (char *dash = strchr(buffer, '-'); dash != NULL; dash = strchr(dash, '-')) {
            *dash = ' ';
        }
    }
    return buffer;
}
