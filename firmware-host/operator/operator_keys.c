/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The operator as a person at a terminal: one line of words for each thing to do, the Enter key for
   "done", one letter and Enter for the rest. */
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

static void end_live(struct up_operator *op) {
    if (op->live_shown) {
        fputs("\r\033[K", op->output);
        op->live_shown = false;
    }
}

/* What is more than the terminal's width is broken between words, set in behind ">> ". */
static void put_line(struct up_operator *op, const char *text) {
    char lead[8];
    size_t length = strspn(text, " >!?");
    end_live(op);
    snprintf(lead, sizeof lead, "%.*s", (int)length, text);
    up_text_lines(op->output, lead, text + strlen(lead), op->style.columns);
    fflush(op->output);
}

static void print_line(struct up_operator *op, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* In the person's units. */
static void print_line(struct up_operator *op, const char *format, ...) {
    char text[600];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    UP_FREED char *shown = up_style_text(&op->style, text);
    put_line(op, shown);
}

static bool is_quick(const struct up_operator *op) {
    return op->procedure != NULL && up_procedure_quick(op->procedure) != NULL;
}

char *describe_ask(const struct up_operator *op, const struct up_ask *ask) {
    char *text = up_style_text(&op->style, ask->text), shown[UP_SHOWN_SIZE], *whole;
    if (ask->action == UP_ACTION_HANG_MASS) {
        up_style_uncertainty(&op->style, 1e3 * ask->mass_kg, shown);
        whole = up_text_format(op->style.imperial ? "%s: %.6g kg (%s)" : "%s: %.6g kg", text,
                               ask->mass_kg, shown);
    } else if (ask->depth_m != 0) {
        up_style_depth(&op->style, ask->depth_m, shown);
        whole = up_text_format("%s: %s", text, shown);
    } else if (is_quick(op) && ask->item_name != NULL) { /* one of many in a heap */
        whole = up_text_format("%s: %s", ask->item_name, text);
    } else {
        whole = up_text_format("%s%s%s", text, ask->item_name != NULL ? ": " : "",
                               ask->item_name != NULL ? ask->item_name : "");
    }
    free(text);
    return whole;
}

static const char degrees_c[] = "degrees C";

static bool asks_temperature(const struct up_ask *ask) {
    return ask->unit != NULL && strcmp(ask->unit, degrees_c) == 0;
}

const char *asked_unit(const struct up_operator *op) {
    return op->style.imperial && asks_temperature(&op->ask) ? "degrees F" : op->ask.unit;
}

static void show_ask(struct up_operator *op, const struct up_ask *ask) {
    UP_FREED char *what = describe_ask(op, ask);
    UP_FREED char *line = up_text_format(">> %s", what);
    end_live(op);
    fputc('\n', op->output);
    put_line(op, line);
    if (ask->how != NULL) {
        print_line(op, "%s", ask->how);
    } else if (op->by_pedal) {
        print_line(op, pedal_stops_here(op) ? "   stopping here"
                                            : "   pedal: short is done, long redoes it from zero, "
                                              "two short stop after this step");
    } else if (ask->wants_number) {
        print_line(op,
                   "   Type what it shows (%s), then press Enter   (s: skip   a: redo from zero   "
                   "q: stop)",
                   asked_unit(op));
    } else if (ask->accepts) {
        print_line(op, "   Enter: weigh again   accept: keep it   a: redo from zero   q: stop");
    } else {
        print_line(op, "   Enter: done   s: skip   a: redo from zero   q: stop");
    }
}

static void show_plateau(struct up_operator *op, const struct up_event *event) {
    const struct up_plateau *plateau = &event->plateau;
    double g = op->counts_per_kg != 0 ? 1e3 / op->counts_per_kg : 0;
    if (op->is_typed) { /* as it was typed */
        UP_FREED char *text = up_text_format("   read %s: %.6g %s", event->plateau_of,
                                             plateau->load / up_load_factor(op->typed_unit),
                                             up_load_unit_name(op->typed_unit));
        put_line(op, text);
    } else if (op->counts_per_kg != 0) {
        print_line(op, "   read %s: %.2f g, standard uncertainty %.2f g, %u readings",
                   event->plateau_of, plateau->load * g, fabs(plateau->u_load * g),
                   plateau->readings);
    } else if (op->loads_in_kg) {
        print_line(op, "   read %s: %.6g kg, %u reading%s", event->plateau_of, plateau->load,
                   plateau->readings, plateau->readings == 1 ? "" : "s");
    } else {
        print_line(op, "   read %s: %.0f counts, standard uncertainty %.1f, %u readings",
                   event->plateau_of, plateau->load, plateau->u_load, plateau->readings);
    }
}

static void show_trial(struct up_operator *op, const struct up_trial *trial) {
    double g = op->counts_per_kg != 0 ? 1e3 / op->counts_per_kg : 1;
    if (trial->shakes == 0) {
        print_line(op, "   trial %u stored: net %+.1f g in the tank as it hung, not shaken",
                   trial->number, -trial->load_counts * g);
        return;
    }
    print_line(
        op, "   trial %u stored: net %+.1f g in the tank, %u shake%s, the last freed %+.1f g%s",
        trial->number, -trial->load_counts * g, trial->shakes, trial->shakes == 1 ? "" : "s",
        fabs(g) * trial->last_gain_counts, trial->still_gaining ? "; air is still coming out" : "");
}

char *describe_check(const struct up_operator *op, const struct up_reference_check *check) {
    UP_FREED char *rest =
        up_text_format("reads wrong by %+.1f g (its limits: %+.1f to %+.1f g)%s",
                       check->deviation_kg.value * 1e3, check->low_kg * 1e3, check->high_kg * 1e3,
                       check->outside ? ": OUTSIDE, you accepted it" : "");
    UP_FREED char *shown = up_style_text(&op->style, rest);
    return up_text_format("%s %s", check->name, shown);
}

static void show_check(struct up_operator *op, const struct up_reference_check *check) {
    UP_FREED char *text = describe_check(op, check);
    UP_FREED char *line = up_text_format("   %s", text);
    put_line(op, line);
}

static void keys_event(struct up_operator *op, const struct up_event *event) {
    switch (event->kind) {
    case UP_EVENT_ASK:
        op->ask = event->ask;
        show_ask(op, &event->ask);
        break;
    case UP_EVENT_PLATEAU:
        show_plateau(op, event);
        break;
    case UP_EVENT_TRIAL:
        show_trial(op, &event->trial);
        break;
    case UP_EVENT_FAULT:
        print_line(op, "!! %s", event->text);
        break;
    case UP_EVENT_NOTE:
        print_line(op, "   %s", event->text);
        break;
    case UP_EVENT_CHECK:
        show_check(op, &event->check);
        break;
    case UP_EVENT_FINISHED:
        end_live(op);
        break;
    }
}

static void keys_refused(struct up_operator *op, unsigned id, const char *why) {
    (void)id;
    print_line(op, "?? %s", why);
}

/* "1.25", "1,25" or "1.25 kg" where kg is asked for, "54 F" for any temperature; any other unit is
   refused with the rest. */
static bool read_number(const struct up_operator *op, const char *line, size_t length,
                        double *number) {
    const char *unit = asked_unit(op);
    bool fahrenheit = unit != op->ask.unit;
    size_t unit_length = strlen(unit);
    char text[40], *comma;
    if (length > unit_length && strncmp(line + length - unit_length, unit, unit_length) == 0) {
        length -= unit_length;
    } else if (asks_temperature(&op->ask) && length > 1 && strchr("CF", line[length - 1])) {
        fahrenheit = line[--length] == 'F';
    }
    while (length > 0 && line[length - 1] == ' ') {
        length--;
    }
    if (length >= sizeof text) {
        return false;
    }
    memcpy(text, line, length);
    text[length] = '\0';
    comma = strchr(text, ',');
    if (comma != NULL && strchr(text, '.') == NULL) {
        *comma = '.';
    }
    bool good = up_text_number(text, length, number);
    *number = good && fahrenheit ? (*number - 32) / 1.8 : *number;
    return good;
}

static bool keys_line(struct up_operator *op, const char *line, struct up_reply *answer) {
    size_t length;
    while (isspace((unsigned char)*line)) {
        line++;
    }
    length = strlen(line);
    while (length > 0 && isspace((unsigned char)line[length - 1])) {
        length--;
    }
    *answer = (struct up_reply){.kind = UP_REPLY_ANSWER, .id = op->ask.id};
    if (length == 1 && strchr("saq", line[0]) != NULL) {
        answer->word = line[0] == 's'   ? UP_ANSWER_SKIP
                       : line[0] == 'a' ? UP_ANSWER_AGAIN
                                        : UP_ANSWER_STOP;
        return true;
    }
    if (length == strlen("accept") && strncmp(line, "accept", length) == 0) {
        answer->word = UP_ANSWER_ACCEPT;
        return true;
    }
    if (length == 0 && !op->ask.wants_number) {
        answer->word = UP_ANSWER_DONE;
        return true;
    }
    if (op->ask.wants_number && read_number(op, line, length, &answer->number)) {
        answer->word = UP_ANSWER_NUMBER;
        return true;
    }
    char why[80] = "press Enter when done, or type s, a or q";
    if (op->ask.wants_number) {
        snprintf(why, sizeof why, "not a number in %s: type it like 1.25", asked_unit(op));
    }
    up_operator_refused(op, answer->id, why);
    return false;
}

static void keys_live(struct up_operator *op, double net_g, double noise_g) {
    if (!op->is_terminal) {
        return;
    }
    char now[UP_SHOWN_SIZE], noise[UP_SHOWN_SIZE];
    up_style_brief(&op->style, net_g, now);
    up_style_uncertainty(&op->style, noise_g, noise);
    fprintf(op->output, "\r\033[K   now %11s   noise %s", now, noise);
    fflush(op->output);
    op->live_shown = true;
}

const struct operator_kind operator_keys = {
    .event = keys_event,
    .line = keys_line,
    .refused = keys_refused,
    .live = keys_live,
};
