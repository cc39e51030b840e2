/* SPDX-License-Identifier: GPL-3.0-or-later */
/* plot and export: what leaves the catalogue. */
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "cli.h"
#include "report/items.h"
#include "text/text.h"

const struct option_text options_plot[] = {
    {"item", "NAME_OR_ID",
     "instead: this item in every water, its trials, its uncertainty, and the "
     "benches that weighed it"},
    {"run", "ID|latest", "instead: the load over the time of this run"},
    {"rig", "FILE", "run: the rig file that was used, to draw every reading of it"},
    {"kind", "TEXT", "items of this kind alone"},
    {"maker", "TEXT", "items of this maker alone"},
    {"model", "TEXT", "items of this model alone, and its sizes, and the benches that weighed it"},
    {"size", "TEXT", "items of this size alone"},
    {"class", "positive|neutral|negative|undecided",
     "items that have a result of this class alone"},
    {"bench", "ID", "items that were measured on the bench of this rig id alone"},
    {"water", "NAME", "in this water, or these two (repeatable; default fresh and sea)"},
    {"by", "item|model|kind", "a row for each of these (default: the finest on ten pages)"},
    {"dark", NULL, "on a dark ground"},
    {"a4", NULL, "for A4, as PDF too"},
    {"retired", NULL, "retired items too"},
    {"to", "DIR", "where (default: plots/ in the catalogue)"},
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_END};

const struct option_text options_export[] = {
    {"format", "csv|json", "which kind of files"},
    {"to", "DIR", "where (default: exchange/ in the catalogue)"},
    OPTION_CATALOGUE,
    OPTION_END};

/* ---- what is to be drawn ---- */

struct pictures {
    struct call *call;
    struct up_plots to;
    struct up_look look;
    char **name;
    size_t count;
};

static void add_picture(struct pictures *pictures, const char *what, const char *id) {
    pictures->name = up_reallocate(pictures->name, pictures->count + 1, sizeof *pictures->name);
    pictures->name[pictures->count++] = up_text_format("%s%s%.8s", what, id[0] ? "-" : "", id);
}

static void add_numbered(struct pictures *pictures, const char *what, unsigned from, unsigned to) {
    for (unsigned i = from; i <= to; i++) {
        UP_FREED char *number = up_text_format("%u", i);
        add_picture(pictures, what, number);
    }
}

static bool draw_all(struct pictures *pictures) {
    UP_FREED char *doing = up_text_format("pictures drawn, of %zu", pictures->count);
    bool good = true;
    for (size_t i = 0; good && i < pictures->count; i++) {
        progress_show(doing, i + 1);
        good = up_plot_draw(pictures->to.directory, pictures->name[i], &pictures->look,
                            pictures->call->failure);
    }
    progress_show(doing, 0);
    for (size_t i = 0; good && i < pictures->count; i++) {
        const char *name = pictures->name[i];
        up_text_print(stdout, "%s: %s.svg, .png%s, .gp, .tsv\n", pictures->to.directory, name,
                      pictures->look.a4 ? ", .pdf" : "");
    }
    return good;
}

/* ---- one run, one item ---- */

static bool write_run(struct pictures *pictures) {
    struct call *call = pictures->call;
    const char *rig_file = option_value(call, "rig");
    struct up_rig rig;
    char run_id[UP_ID_SIZE] = "";
    bool good =
        (rig_file == NULL || up_rig_load(rig_file, &rig, call->failure)) &&
        up_plot_write_run(call->catalogue, option_value(call, "run"),
                          rig_file != NULL ? &rig : NULL, &pictures->to, run_id, call->failure);
    if (good && rig_file == NULL) {
        puts("only the plateaus of the run: --rig FILE draws every reading");
    }
    add_picture(pictures, "run", run_id);
    return good;
}

static bool write_item(struct pictures *pictures, const struct up_rows *rows) {
    struct call *call = pictures->call;
    struct up_item item;
    struct up_items alone = {.item = &item, .count = 1};
    bool compared = false;
    bool good =
        up_item_find(call->catalogue, option_value(call, "item"), &item, call->failure) &&
        up_plot_write_item(call->catalogue, rows, &item, option_value(call, "water"), &pictures->to,
                           call->failure) &&
        up_plot_write_benches(call->catalogue, &alone, &pictures->to, &compared, call->failure);
    add_picture(pictures, "waters", item.id);
    add_picture(pictures, "trials", item.id);
    add_picture(pictures, "shares", item.id);
    if (compared) {
        add_picture(pictures, "benches", item.id);
    }
    return good;
}

/* ---- many items ---- */

/* Of the items alone that were chosen. */
static void keep_chosen(struct up_rows *rows, const struct up_items *items) {
    json_auto_t *chosen = json_object();
    size_t kept = 0;
    for (size_t i = 0; i < items->count; i++) {
        json_object_set_new_nocheck(chosen, items->item[i].id, json_true());
    }
    for (size_t i = 0; i < rows->count; i++) {
        if (json_object_get(chosen, rows->row[i].item_id) != NULL) {
            rows->row[kept++] = rows->row[i];
        }
    }
    rows->count = kept;
}

static size_t count_things(const struct up_rows *rows) {
    size_t count = 0;
    for (size_t i = 0; i < rows->count; i++) {
        count += i == 0 || strcmp(rows->row[i].item_id, rows->row[i - 1].item_id) != 0;
    }
    return count;
}

/* A row of many is of full weighings alone (up_rows_group). */
static void tell_left_out(const struct up_rows *rows) {
    size_t count = 0;
    const char *last = "";
    for (size_t i = 0; i < rows->count; i++) {
        const struct up_row *row = &rows->row[i];
        count += row->quick && strcmp(row->item_id, last) != 0;
        last = row->quick ? row->item_id : last;
    }
    if (count > 0) {
        printf("%zu item%s weighed quickly, which no such row includes: --by item draws all\n",
               count, count == 1 ? " was" : "s were");
    }
}

static bool is_choice(struct call *call) {
    static const char *const options[] = {"kind", "maker", "model", "size", "class", "bench"};
    bool any = call->words > 0;
    for (size_t i = 0; i < sizeof options / sizeof options[0]; i++) {
        any = any || option_given(call, options[i]);
    }
    return any;
}

/* As asked for, or the finest that ten pages hold. */
static bool write_rows(struct pictures *pictures, const struct up_rows *rows,
                       const struct up_items *items, struct up_view *view) {
    static const char *const words[] = {"item", "model", "kind", NULL};
    static const char *const are[] = {"items", "models", "kinds"}, *const chosen[] = {
                                                                       "chosen items",
                                                                       "chosen models",
                                                                       "chosen kinds"};
    const char *asked;
    struct up_rows groups = {0};
    size_t by = 0, most = (size_t)UP_PLOT_ROWS * UP_PLOT_PAGES, all = count_things(rows);
    unsigned pages = 0;
    if (!option_word(pictures->call, "by", words, &asked)) {
        return false;
    }
    while (asked != NULL && strcmp(words[by], asked) != 0) {
        by++;
    }
    by += asked == NULL && all > most;
    for (bool fits = by == 0; !fits; by += !fits) {
        up_rows_release(&groups);
        up_rows_group(rows, items, by == 1 ? UP_GROUP_MODEL : UP_GROUP_KIND, view, &groups);
        fits = asked != NULL || by == 2 || count_things(&groups) <= most;
    }
    view->grouped = by > 0;
    view->rows_are = is_choice(pictures->call) ? chosen[by] : are[by];
    bool grouped_none = by > 0 && groups.count == 0 && rows->count > 0;
    bool good = grouped_none
                    ? refuse(pictures->call, "plot: no full weighing was made of what would be in "
                                             "a row of many: --by item draws the quick ones")
                    : up_plot_write(by > 0 ? &groups : rows, view, &pictures->to, &pages,
                                    pictures->call->failure);
    if (good && by > 0) {
        tell_left_out(rows);
    }
    if (good && by > 0 && asked == NULL) {
        printf("%zu items, more than %zu: a row for each %s; --by item draws all of them\n", all,
               most, words[by]);
    }
    if (good) {
        add_picture(pictures, "items", "");
        add_numbered(pictures, "items", 2, pages);
    }
    up_rows_release(&groups);
    return good;
}

static bool write_model(struct pictures *pictures, const struct up_rows *rows,
                        const struct up_items *items, const struct up_view *view) {
    struct call *call = pictures->call;
    bool sizes = false, compared = false;
    bool good =
        items->count == 0 ||
        (up_plot_write_sizes(rows, items, view, &pictures->to, &sizes, call->failure) &&
         up_plot_write_benches(call->catalogue, items, &pictures->to, &compared, call->failure));
    if (sizes) {
        add_picture(pictures, "sizes", items->item[0].id);
    }
    if (compared) {
        add_picture(pictures, "benches", items->item[0].id);
    }
    return good;
}

static bool write_benches(struct pictures *pictures) {
    struct call *call = pictures->call;
    unsigned calibrations = 0, references = 0;
    bool good =
        up_plot_write_calibrations(call->catalogue, &pictures->to, &calibrations, call->failure) &&
        up_plot_write_references(call->catalogue, &pictures->to, &references, call->failure);
    add_numbered(pictures, "calibration", 1, calibrations);
    add_numbered(pictures, "reference", 1, references);
    return good;
}

static bool write_many(struct pictures *pictures, struct up_rows *rows) {
    struct call *call = pictures->call;
    const char *waters[OPTIONS_GIVEN_MAX] = {NULL};
    struct up_items items = {0};
    struct up_choice choice;
    if (!choice_asked(call, 0, waters, &choice)) {
        return false;
    }
    if (choice.water_count > 2) {
        return refuse(call, "plot: a picture shows one water or two: give --water once or twice");
    }
    struct up_view view = {{"fresh", "sea"}, "items", false};
    if (choice.water_count > 0) {
        view.water[0] = waters[0];
        view.water[1] = waters[1];
    }
    bool good = up_items_load(call->catalogue, rows, &choice, &items, call->failure);
    keep_chosen(rows, &items);
    if (good && rows->count == 0 && is_choice(call)) {
        good = refuse(call, "plot: no item that was chosen has a result to draw");
    }
    good =
        good && (is_choice(call) || write_benches(pictures)) &&
        ((rows->count == 0 && pictures->count > 0) || write_rows(pictures, rows, &items, &view)) &&
        (choice.model == NULL || write_model(pictures, rows, &items, &view));
    up_items_release(&items);
    return good;
}

static bool plot(struct pictures *pictures) {
    struct call *call = pictures->call;
    struct up_rows rows = {0};
    bool good = option_given(call, "run")
                    ? write_run(pictures)
                    : up_rows_load(call->catalogue, &rows, call->failure) &&
                          (option_given(call, "item") ? write_item(pictures, &rows)
                                                      : write_many(pictures, &rows));
    good = good && draw_all(pictures);
    for (size_t i = 0; i < pictures->count; i++) {
        free(pictures->name[i]);
    }
    free(pictures->name);
    up_rows_release(&rows);
    return good;
}

/* Of --to, or the catalogue's own of that name; the caller's. */
static char *folder_of(struct call *call, const char *name) {
    const char *to = option_value(call, "to");
    return to != NULL ? up_text_format("%s", to)
                      : up_text_format("%s/%s", up_catalogue_directory(call->catalogue), name);
}

/* A catalogue may come from somebody else, and a link in it lead to files of yours. */
static bool check_own_folder(struct call *call, const char *path) {
    struct stat about;
    return option_given(call, "to") || lstat(path, &about) != 0 || !S_ISLNK(about.st_mode) ||
           refuse(call, "%s is a link, which is not followed: name a folder with --to", path);
}

/* What would be ignored beside one item or one run would be taken for done. */
static bool check_alone(struct call *call, const char *alone) {
    static const char *const options[] = {"kind",  "maker", "model", "size",
                                          "class", "bench", "by",    "retired"};
    bool run = strcmp(alone, "run") == 0;
    int waters = 0;
    const char *other = call->words > 0 ? call->word[0] : NULL;
    for (size_t i = 0; other == NULL && i < sizeof options / sizeof options[0]; i++) {
        other = option_given(call, options[i]) ? options[i] : NULL;
    }
    for (int i = 0; i < call->options; i++) {
        waters += strcmp(call->option[i].name, "water") == 0;
    }
    if (other != NULL || (run && waters > 0)) {
        return refuse(call, "plot: --%s draws that one alone: leave out %s%.80s", alone,
                      call->words > 0 ? "" : "--", other != NULL ? other : "water");
    }
    return waters < 2 || refuse(call, "plot: --item draws the shares of the uncertainty in one "
                                      "water: give --water once");
}

bool command_plot(struct call *call) {
    struct up_style style;
    bool run = option_given(call, "run");
    if (option_given(call, "rig") && !run) {
        return refuse(call, "plot: --rig needs --run ID");
    }
    if (run && option_given(call, "item")) {
        return refuse(call, "plot: give --run or --item, not both");
    }
    if ((run || option_given(call, "item")) && !check_alone(call, run ? "run" : "item")) {
        return false;
    }
    if (!style_asked(call, &style) || !open_catalogue(call, UP_CATALOGUE_READ)) {
        return false;
    }
    UP_FREED char *plots = folder_of(call, "plots");
    /* A copy that was made with a tool that leaves out empty folders lacks it. */
    bool good = check_own_folder(call, plots) &&
                up_text_make_folder(plots, UP_LINKS_FOLLOWED, call->failure);
    if (good) {
        up_text_remove_left_over(plots);
    }
    struct pictures pictures = {.call = call,
                                .to = {plots, style},
                                .look = {option_given(call, "dark"), option_given(call, "a4")}};
    return good && plot(&pictures);
}

bool command_export(struct call *call) {
    const char *format = option_value(call, "format");
    bool csv = format != NULL && strcmp(format, "csv") == 0;
    bool good;
    if (!csv && (format == NULL || strcmp(format, "json") != 0)) {
        return refuse(call, "export: give --format csv or --format json");
    }
    if (!open_catalogue(call, UP_CATALOGUE_READ)) {
        return false;
    }
    UP_FREED char *directory = folder_of(call, "exchange");
    good = check_own_folder(call, directory) &&
           (csv ? up_export_csv(call->catalogue, directory, call->failure)
                : up_export_json(call->catalogue, directory, call->failure));
    if (good) {
        up_text_print(stdout, "%s: %s\n", directory,
                      csv ? "items.csv, calibrations.csv, results.csv, runs.csv, trials.csv, "
                            "rigs.csv, decisions.csv, reference_bodies.csv, reference_checks.csv, "
                            "gear_kinds.csv, writers.csv, held.csv, vouchings.csv, "
                            "rotations.csv, revocations.csv, recalls.csv; csv-metadata.json "
                            "describes the columns"
                          : "catalogue.json; catalogue.schema.json is its JSON Schema");
    }
    return good;
}
