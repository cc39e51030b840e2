/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a queue came to: a table, the same as CSV, and the list of what was put aside. */
#include "cli.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "catalogue/claim.h"
#include "catalogue/records.h"
#include "text/json.h"
#include "text/text.h"

struct afternoon_line {
    struct up_item item;
    struct up_result result; /* the tank's */
    double spent_s;
    bool weighed_later;
};

struct afternoon {
    const char *queue_id;
    json_t *runs; /* id -> seconds that it took */
    struct afternoon_line *line;
    size_t lines;
    struct up_catalogue *catalogue;
    double spent_s;
};

/* ---- from the catalogue, so that what was weighed before a break is part of it ---- */

static double seconds_of(const char *utc) {
    struct tm at = {0};
    const char *rest = strptime(utc, "%Y-%m-%dT%H:%M:%S", &at);
    double part = 0;
    if (rest == NULL) {
        return (double)NAN;
    }
    up_text_number(rest, strcspn(rest, "Z"), &part);
    return (double)timegm(&at) + part;
}

static bool take_run(const struct up_record *record, void *context) {
    struct afternoon *afternoon = context;
    const json_t *queue = json_object_get(record->content, "queue");
    if (!record->elsewhere && strcmp(up_record_text(queue, "id"), afternoon->queue_id) == 0) {
        double spent_s =
            seconds_of(record->made_utc) - seconds_of(up_record_text(record->content, "begun_utc"));
        json_object_set_new(afternoon->runs, record->subject, up_json_number(spent_s));
    }
    return true;
}

static bool take_result(const struct up_record *record, void *context) {
    struct afternoon *afternoon = context;
    const json_t *spent =
        json_object_get(afternoon->runs, up_record_text(record->content, "run_id"));
    struct up_failure ignored;
    if (spent == NULL || record->elsewhere ||
        strcmp(up_record_text(record->content, "water"), "tank") != 0) {
        return true;
    }
    afternoon->line = up_reallocate(afternoon->line, afternoon->lines + 1, sizeof *afternoon->line);
    struct afternoon_line *line = &afternoon->line[afternoon->lines];
    *line = (struct afternoon_line){.spent_s = json_number_value(spent)};
    up_result_from_json(record->content, &line->result);
    if (up_item_find(afternoon->catalogue, line->result.item_id, &line->item, &ignored)) {
        for (size_t i = 0; i < afternoon->lines; i++) {
            struct afternoon_line *before = &afternoon->line[i];
            before->weighed_later =
                before->weighed_later || strcmp(before->item.id, line->item.id) == 0;
        }
        afternoon->spent_s += line->spent_s;
        afternoon->lines++;
    }
    return true;
}

struct afternoon *afternoon_load(struct up_catalogue *catalogue, const char *queue_id,
                                 struct up_failure *failure) {
    struct afternoon *afternoon = up_allocate(1, sizeof *afternoon);
    *afternoon =
        (struct afternoon){.queue_id = queue_id, .catalogue = catalogue, .runs = json_object()};
    if (up_catalogue_each(catalogue, "run", take_run, afternoon, failure) &&
        up_catalogue_each(catalogue, "result", take_result, afternoon, failure)) {
        return afternoon;
    }
    afternoon_free(afternoon);
    return NULL;
}

void afternoon_free(struct afternoon *afternoon) {
    if (afternoon != NULL) {
        json_decref(afternoon->runs);
        free(afternoon->line);
        free(afternoon);
    }
}

bool afternoon_is_empty(const struct afternoon *afternoon) {
    return afternoon->lines == 0;
}

static bool is_aside(const struct afternoon_line *line) {
    return line->result.quick.aside != UP_ASIDE_NOT && !line->weighed_later;
}

static size_t count_aside(const struct afternoon *afternoon) {
    size_t count = 0;
    for (size_t i = 0; i < afternoon->lines; i++) {
        count += is_aside(&afternoon->line[i]);
    }
    return count;
}

/* ---- the table ---- */

static void show_net(const struct up_result *result, const struct up_style *style,
                     char net[UP_SHOWN_SIZE], char interval[UP_SHOWN_SIZE]) {
    const struct up_answer *answer = &result->answer;
    const struct up_net shown = {answer->buoyancy_kg.value * 1e3, answer->expanded_u_kg * 1e3,
                                 answer->stuck_air_kg * 1e3, up_claim_at_most_g(result)};
    up_style_net(style, &shown, net, interval);
}

void afternoon_print(const struct afternoon *afternoon, const struct up_style *style,
                     FILE *stream) {
    enum { NAME = 28, CLASS = 9 };
    fprintf(stream, "\n%-*s  %-*s  %16s %s\n", NAME, "item, in the tank's water", CLASS, "", "net",
            "interval (95 %)");
    for (size_t i = 0; i < afternoon->lines; i++) {
        const struct afternoon_line *line = &afternoon->line[i];
        char net[UP_SHOWN_SIZE], interval[UP_SHOWN_SIZE];
        show_net(&line->result, style, net, interval);
        up_text_put(stream, line->item.name, NAME, style->isolate);
        fputs("  ", stream);
        up_style_class(style,
                       line->result.quick.aside != UP_ASIDE_NOT
                           ? "put aside"
                           : up_class_name(line->result.answer.class),
                       CLASS, stream);
        fprintf(stream, "  %16s %s%s%s\n", net, interval,
                line->result.quick.is ? interval[0] != '\0' ? ", quick" : "quick" : "",
                line->weighed_later ? ", weighed again below" : "");
    }
    size_t aside = count_aside(afternoon);
    fprintf(stream, "%zu result%s in %.0f min; %zu item%s put aside for the full weighing\n",
            afternoon->lines, up_text_plural(afternoon->lines), ceil(afternoon->spent_s / 60),
            aside, up_text_plural(aside));
    fputs(UP_CLAIM_WHOSE "\n" UP_CLAIM_CHECK "\n", stream);
}

/* ---- the files ---- */

static void put_number(FILE *stream, double value) {
    char text[32];
    up_text_from_number(value, text, sizeof text); /* nothing for NaN */
    fprintf(stream, ",%s", isfinite(value) ? text : "");
}

static void put_field(FILE *stream, const char *text) {
    UP_FREED char *field = up_text_for_csv(text);
    fprintf(stream, ",%s", field);
}

static bool write_csv(FILE *stream, void *context) {
    const struct afternoon *afternoon = context;
    fputs("item_id,name,stock_number,kind,size,weighing,class,net_g,low_g,high_g,at_most_g,"
          "put_aside,seconds,claim,run_id\r\n",
          stream);
    for (size_t i = 0; i < afternoon->lines; i++) {
        const struct afternoon_line *line = &afternoon->line[i];
        const struct up_result *result = &line->result;
        double net_g = result->answer.buoyancy_kg.value * 1e3,
               half_g = result->answer.expanded_u_kg * 1e3, at_most_g = up_claim_at_most_g(result);
        char claim[UP_CLAIM_SCOPE_SIZE], aside[UP_CLAIM_ASIDE_SIZE];
        up_claim_scope(result->pieces, result->simulated, result->quick.is, claim);
        up_claim_aside(result, aside);
        fputs(line->item.id, stream);
        put_field(stream, line->item.name);
        put_field(stream, line->item.stock_number);
        put_field(stream, line->item.kind);
        put_field(stream, line->item.size);
        put_field(stream, result->quick.is ? "quick" : "full");
        put_field(stream, up_class_name(result->answer.class));
        put_number(stream, isnan(at_most_g) ? net_g : (double)NAN);
        put_number(stream, net_g - half_g - fmax(result->answer.stuck_air_kg * 1e3, 0));
        put_number(stream, net_g + half_g);
        put_number(stream, at_most_g);
        put_field(stream, aside);
        put_number(stream, round(line->spent_s * 10) / 10);
        put_field(stream, claim);
        put_field(stream, result->run_id);
        fputs("\r\n", stream);
    }
    return ferror(stream) == 0;
}

/* A queue again: an id a line, its name above. */
static bool write_aside(FILE *stream, void *context) {
    const struct afternoon *afternoon = context;
    fputs("# put aside: these need the full weighing\n", stream);
    for (size_t i = 0; i < afternoon->lines; i++) {
        const struct afternoon_line *line = &afternoon->line[i];
        if (is_aside(line)) {
            char why[UP_CLAIM_ASIDE_SIZE];
            up_claim_aside(&line->result, why);
            UP_FREED char *name = up_text_for_terminal(line->item.name);
            fprintf(stream, "# %s: %s\n%s\n", name, why, line->item.id);
        }
    }
    return ferror(stream) == 0;
}

bool afternoon_write(struct afternoon *afternoon, char **csv, char **aside,
                     struct up_failure *failure) {
    char day[16];
    time_t now = time(NULL);
    struct tm local;
    strftime(day, sizeof day, "%Y-%m-%d", localtime_r(&now, &local));
    UP_FREED char *folder =
        up_text_format("%s/queues", up_catalogue_directory(afternoon->catalogue));
    *csv = up_text_format("%s/%s-%.8s.csv", folder, day, afternoon->queue_id);
    *aside = count_aside(afternoon) > 0
                 ? up_text_format("%s/%s-%.8s-put-aside.txt", folder, day, afternoon->queue_id)
                 : NULL;
    return up_text_make_folder(folder, UP_LINKS_REFUSED, failure) &&
           up_text_write_file(*csv, write_csv, afternoon, failure) &&
           (*aside == NULL || up_text_write_file(*aside, write_aside, afternoon, failure));
}
