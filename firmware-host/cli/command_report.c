/* SPDX-License-Identifier: GPL-3.0-or-later */
/* plot and export: what leaves the catalogue. */
#include <errno.h>
#include <string.h>
#include <sys/stat.h>

#include "cli.h"
#include "text/text.h"

const struct option_text options_plot[] = {
    {"run", "ID|latest", "instead: the load over the time of this run"},
    {"rig", "FILE", "run: the rig file that was used, to draw every reading of it"},
    {"to", "DIR", "where (default: plots/ in the catalogue)"},
    OPTION_CATALOGUE,
    OPTION_END};

const struct option_text options_export[] = {
    {"format", "csv|json", "which kind of files"},
    {"to", "DIR", "where (default: exchange/ in the catalogue)"},
    OPTION_CATALOGUE,
    OPTION_END};

static void list_plots(const char *plots, bool items, unsigned calibrations, unsigned references) {
    if (items) {
        up_text_print(stdout,
                      "%s: items.svg, items.png, and items.gp with items.tsv to draw them again\n",
                      plots);
    }
    for (unsigned i = 1; i <= calibrations; i++) {
        up_text_print(stdout, "%s: calibration-%u.svg, .png, .gp, .tsv\n", plots, i);
    }
    for (unsigned i = 1; i <= references; i++) {
        up_text_print(stdout, "%s: reference-%u.svg, .png, .gp, .tsv\n", plots, i);
    }
}

static bool plot_run(struct call *call, const char *plots) {
    const char *rig_file = option_value(call, "rig");
    struct up_rig rig;
    char run_id[UP_ID_SIZE];
    bool good = (rig_file == NULL || up_rig_load(rig_file, &rig, call->failure)) &&
                up_plot_write_run(call->catalogue, option_value(call, "run"),
                                  rig_file != NULL ? &rig : NULL, plots, run_id, call->failure) &&
                up_plot_draw_run(plots, run_id, call->failure);
    if (good) {
        up_text_print(stdout, "%s: run-%.8s.svg, .png, .gp, .tsv%s\n", plots, run_id,
                      rig_file != NULL ? ""
                                       : "; only the plateaus, --rig FILE draws every reading");
    }
    return good;
}

static bool plot_all(struct up_catalogue *catalogue, const char *plots,
                     struct up_failure *failure) {
    struct up_rows rows = {0};
    unsigned calibrations = 0, references = 0;
    bool good = up_rows_load(catalogue, &rows, failure);
    up_rows_drop_retired(&rows);
    good = good && up_plot_write_calibrations(catalogue, plots, &calibrations, failure) &&
           up_plot_write_references(catalogue, plots, &references, failure) &&
           ((rows.count == 0 && calibrations + references > 0) ||
            (up_plot_write(&rows, plots, failure) && up_plot_draw(plots, failure))) &&
           up_plot_draw_calibrations(plots, calibrations, failure) &&
           up_plot_draw_references(plots, references, failure);
    if (good) {
        list_plots(plots, rows.count > 0, calibrations, references);
    }
    up_rows_release(&rows);
    return good;
}

/* Of --to, or the catalogue's own of that name; the caller's. */
static char *folder_of(struct call *call, const char *name) {
    const char *to = option_value(call, "to");
    return to != NULL ? up_text_format("%s", to)
                      : up_text_format("%s/%s", up_catalogue_directory(call->catalogue), name);
}

/* A copy that was made with a tool that leaves out empty folders lacks it. */
static bool make_folder(const char *path, struct up_failure *failure) {
    return mkdir(path, 0777) == 0 || errno == EEXIST ||
           up_fail(failure, UP_STATUS_UNABLE, "cannot make the folder %s: %s", path,
                   strerror(errno));
}

/* A catalogue may come from somebody else, and a link in it lead to files of yours. */
static bool check_own_folder(struct call *call, const char *path) {
    struct stat about;
    return option_given(call, "to") || lstat(path, &about) != 0 || !S_ISLNK(about.st_mode) ||
           refuse(call, "%s is a link, which is not followed: name a folder with --to", path);
}

bool command_plot(struct call *call) {
    bool run = option_given(call, "run");
    if (option_given(call, "rig") && !run) {
        return refuse(call, "plot: --rig needs --run ID");
    }
    if (!open_catalogue(call, UP_CATALOGUE_READ)) {
        return false;
    }
    UP_FREED char *plots = folder_of(call, "plots");
    bool good = check_own_folder(call, plots) && make_folder(plots, call->failure);
    if (good) {
        up_text_remove_left_over(plots);
    }
    return good && (run ? plot_run(call, plots) : plot_all(call->catalogue, plots, call->failure));
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
                            "gear_kinds.csv; csv-metadata.json describes the columns"
                          : "catalogue.json; catalogue.schema.json is its JSON Schema");
    }
    return good;
}
