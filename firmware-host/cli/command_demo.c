/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The main job on a simulated tank: a separate program that speaks over a pseudo-terminal what a
 * rig speaks, and answers as operator what a person would do. Everything between is the bench
 * itself.
 */
#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "cli.h"
#include "embedded.h"
#include "text/clock.h"
#include "text/text.h"

const struct option_text options_demo[] = {
    {"dir", "DIR", "where the demonstration's catalogue and rig file go"},
    {"seed", "N", "another simulated session (default 1)"},
    OPTION_UNITS,
    OPTION_JSON,
    OPTION_END};

enum { ITEMS_MAX = 64, DEMO_WATERS = 2, REPLY_SIZE = 4096, REPLY_WAIT_MS = 10000 };
static const struct up_calibrate_plan demo_masses = {
    .mass_kg = {0.5, 1, 2, 4, 0.5, 1, 2, 4, 0.5, 1, 2, 4}, .masses = 12, .staircase = true};

struct tank_process {
    pid_t child;
    int from; /* its standard output */
    FILE *to; /* its standard input */
    char port[128];
};

struct measured {
    struct up_session_results is;
    double truth_g[DEMO_WATERS + 1];
};

struct demo {
    bool json;
    struct up_style style;
    int seed;
    const char *directory;
    struct tank_process tank;
    struct up_catalogue *catalogue;
    struct up_rig rig;
    struct up_session_settings settings;
    struct up_water water[DEMO_WATERS];
    struct measured *measured;
    unsigned items;
    double began_s;
};

/* ---- the tank's process ---- */

/* The simulated tank is installed beside this program. */
static bool tank_program(char *path, size_t size) {
    ssize_t length = readlink("/proc/self/exe", path, size - 1);
    char *slash;
    if (length <= 0) {
        return false;
    }
    path[length] = '\0';
    slash = strrchr(path, '/');
    return slash != NULL && (size_t)(slash - path) + sizeof "/upthrust-tank" < size &&
           snprintf(slash, sizeof "/upthrust-tank", "/upthrust-tank") > 0 &&
           access(path, X_OK) == 0;
}

static bool spawn(const char *const argv[], struct tank_process *tank) {
    int in[2], out[2];
    if (pipe(in) != 0 || pipe(out) != 0) {
        return false;
    }
    tank->child = fork();
    if (tank->child == 0) {
        dup2(in[0], STDIN_FILENO);
        dup2(out[1], STDOUT_FILENO);
        close(in[0]);
        close(in[1]);
        close(out[0]);
        close(out[1]);
        execv(argv[0], (char *const *)(uintptr_t)argv);
        _exit(127);
    }
    close(in[0]);
    close(out[1]);
    fcntl(in[1], F_SETFD, FD_CLOEXEC);
    fcntl(out[0], F_SETFD, FD_CLOEXEC);
    tank->from = out[0];
    tank->to = fdopen(in[1], "w");
    return tank->child > 0 && tank->to != NULL;
}

/* One line of the tank's, as JSON; NULL where none comes in time. */
static json_t *tank_reply(struct tank_process *tank) {
    char line[REPLY_SIZE];
    size_t length = 0;
    while (length < sizeof line - 1) {
        struct pollfd entry = {.fd = tank->from, .events = POLLIN};
        if (poll(&entry, 1, REPLY_WAIT_MS) <= 0 || read(tank->from, line + length, 1) != 1) {
            return NULL;
        }
        if (line[length++] == '\n') {
            break;
        }
    }
    line[length] = '\0';
    return json_loads(line, 0, NULL);
}

static bool start_tank(struct demo *demo, struct up_failure *failure) {
    char path[4096], seed[24];
    const char *argv[] = {path, "--seed", seed, NULL};
    snprintf(seed, sizeof seed, "%d", demo->seed);
    if (!tank_program(path, sizeof path)) {
        return up_fail(
            failure, UP_STATUS_UNABLE,
            "the simulated tank, upthrust-tank, is not in the folder of upthrust: run make");
    }
    if (!spawn(argv, &demo->tank)) {
        return up_fail(failure, UP_STATUS_UNABLE, "cannot start %s: %s", path, strerror(errno));
    }
    json_auto_t *hello = tank_reply(&demo->tank);
    const char *port = json_string_value(json_object_get(hello, "port"));
    if (port != NULL) {
        snprintf(demo->tank.port, sizeof demo->tank.port, "%s", port);
    }
    return demo->tank.port[0] != '\0' ||
           up_fail(failure, UP_STATUS_UNABLE, "%s did not say which port it speaks on", path);
}

static void stop_tank(struct tank_process *tank) {
    if (tank->to != NULL) {
        fclose(tank->to);
        close(tank->from);
        waitpid(tank->child, NULL, 0);
    }
}

static bool ask_truth(struct demo *demo, const struct up_result *result, const char *item,
                      double *truth_g, struct up_failure *failure) {
    bool range = result->water.salinity_range;
    json_t *ask =
        json_pack("{s:s, s:s, s:b, s:f, s:f, s:f}", "truth", item, "water", result->water.name,
                  "rectangular", range, "density_kg_m3", result->water_density_kg_m3.value,
                  "u_density_kg_m3", result->water_density_kg_m3.u, "temp_c", result->water.temp_c);
    json_dumpf(ask, demo->tank.to, JSON_COMPACT | JSON_REAL_PRECISION(17));
    fputc('\n', demo->tank.to);
    fflush(demo->tank.to);
    json_decref(ask);
    json_auto_t *reply = tank_reply(&demo->tank);
    json_t *value = json_object_get(reply, "truth_g");
    *truth_g = json_is_number(value) ? json_number_value(value) : (double)NAN;
    return !isnan(*truth_g) ||
           up_fail(failure, UP_STATUS_UNABLE, "the simulated tank does not know %s", item);
}

/* ---- setting up ---- */

/* The file is left with the link that rigs/README.md gives the tank: the number of a
   pseudo-terminal is that of somebody else's once this tank has gone. */
static bool set_up_rig(struct demo *demo, struct up_failure *failure) {
    UP_FREED char *file = up_text_format("%s/rig.ini", demo->directory);
    return up_rig_write_with_port(embedded_simulated_ini, demo->tank.port, file, failure) &&
           up_rig_load(file, &demo->rig, failure) &&
           up_rig_write_with_port(embedded_simulated_ini, "/tmp/tank", file, failure);
}

static bool set_up(struct demo *demo, struct up_failure *failure) {
    UP_FREED char *directory = up_text_format("%s/catalogue", demo->directory);
    struct call none = {.failure = failure};
    unsigned waters = 0;
    bool good = up_text_make_folder(demo->directory, UP_LINKS_FOLLOWED, failure) &&
                start_tank(demo, failure) && set_up_rig(demo, failure) &&
                up_catalogue_open(directory, UP_CATALOGUE_CREATE, &demo->catalogue, failure) &&
                waters_asked(&none, demo->water, &waters);
    demo->settings = (struct up_session_settings){.catalogue = demo->catalogue,
                                                  .rig = &demo->rig,
                                                  .operator_kind = UP_OPERATOR_JSON,
                                                  .operator_input = demo->tank.from,
                                                  .operator_output = demo->tank.to,
                                                  .no_exchange = true,
                                                  .simulated = true,
                                                  .signalled = &signalled,
                                                  .caller.note = print_note};
    return good;
}

/* ---- gear ---- */

static void copy_member(const json_t *gear, const char *key, char *to, size_t size) {
    const char *text = json_string_value(json_object_get(gear, key));
    snprintf(to, size, "%s", text != NULL ? text : "");
}

static bool register_item(struct demo *demo, const json_t *gear, struct up_item *item,
                          struct up_failure *failure) {
    int pieces = (int)json_integer_value(json_object_get(gear, "pieces"));
    *item = (struct up_item){
        .pieces = pieces,
        .tolerance_g = pieces == 2 ? UP_TOLERANCE_PAIR_G : UP_TOLERANCE_ONE_G,
        .expansion_per_k = UP_EXPANSION_PER_K,
        .u_expansion_per_k = UP_U_EXPANSION_PER_K,
        .holds_gas = json_is_true(json_object_get(gear, "compressible")) ? UP_GAS_YES : UP_GAS_NO};
    copy_member(gear, "name", item->name, sizeof item->name);
    if (up_item_find(demo->catalogue, item->name, item, failure)) {
        return true; /* of an earlier demonstration in the same directory */
    }
    copy_member(gear, "kind", item->kind, sizeof item->kind);
    copy_member(gear, "maker", item->maker, sizeof item->maker);
    copy_member(gear, "model", item->model, sizeof item->model);
    copy_member(gear, "size", item->size, sizeof item->size);
    return up_item_add(demo->catalogue, item, failure);
}

static json_t *read_gear(struct up_failure *failure) {
    char path[4096];
    const char *argv[] = {path, "--gear", NULL};
    struct tank_process lister = {0};
    json_t *gear = NULL;
    if (tank_program(path, sizeof path) && spawn(argv, &lister)) {
        FILE *stream = fdopen(lister.from, "r");
        gear = json_loadf(stream, 0, NULL);
        fclose(stream);
        fclose(lister.to);
        waitpid(lister.child, NULL, 0);
    }
    if (!json_is_array(gear) || json_array_size(gear) > ITEMS_MAX) {
        json_decref(gear);
        up_fail(failure, UP_STATUS_UNABLE, "the simulated tank does not list its gear");
        return NULL;
    }
    return gear;
}

/* ---- measuring ---- */

static bool measure_item(struct demo *demo, const json_t *gear, struct up_failure *failure) {
    struct measured *measured = &demo->measured[demo->items];
    struct up_session_results *is = &measured->is;
    struct up_item item;
    if (!register_item(demo, gear, &item, failure)) {
        return false;
    }
    fprintf(stderr, "  weighing %s\n", item.name);
    struct up_measure_plan plan = {.item = item,
                                   .trials = (unsigned)demo->rig.trials,
                                   .water = demo->water,
                                   .waters = DEMO_WATERS,
                                   .confidence = 0.95};
    if (!up_session_measure(&demo->settings, &plan, is, failure)) {
        return false;
    }
    for (unsigned i = 0; i < is->results; i++) {
        if (!ask_truth(demo, &is->result[i], item.name, &measured->truth_g[i], failure)) {
            return false;
        }
    }
    demo->items++;
    return true;
}

static bool measure_all(struct demo *demo, struct up_failure *failure) {
    UP_FREED struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    json_auto_t *gear = read_gear(failure);
    bool good = gear != NULL;
    if (good) {
        fprintf(stderr, "  calibrating with known masses\n");
        good = up_session_calibrate(&demo->settings, &demo_masses, calibration, failure);
    }
    for (size_t i = 0; good && i < json_array_size(gear); i++) {
        good = signalled == 0 && measure_item(demo, json_array_get(gear, i), failure);
    }
    return good;
}

/* ---- printing ---- */

/* As up_style_interval, in a column under its unit's name. */
static void put_interval(const struct up_style *style, double u_g, double stuck_g,
                         char text[UP_SHOWN_SIZE]) {
    int decimals = style->imperial ? 2 : 1;
    double up = up_style_in_unit(style, u_g), down = up_style_in_unit(style, u_g + stuck_g);
    if (up_style_has_stuck(stuck_g)) {
        snprintf(text, UP_SHOWN_SIZE, "+%.*f -%.*f", decimals, up, decimals, down);
    } else {
        snprintf(text, UP_SHOWN_SIZE, "+- %.*f", decimals, up);
    }
}

/* Whether the interval holds the true value. */
static bool print_row(const struct up_style *style, const char *title,
                      const struct up_result *result, double truth_g) {
    char interval[UP_SHOWN_SIZE];
    int decimals = style->imperial ? 2 : 1;
    double b_g = result->answer.buoyancy_kg.value * 1e3, error_g = b_g - truth_g;
    double shown_g = fabs(error_g) < (style->imperial ? 0.005 * UP_G_PER_OZ : 0.05) ? 0 : error_g;
    double u_g = result->answer.expanded_u_kg * 1e3;
    double stuck_g = result->answer.stuck_air_kg * 1e3;
    bool holds = error_g >= -u_g && error_g <= u_g + stuck_g;
    put_interval(style, u_g, stuck_g, interval);
    printf("%-22.22s %-5s %+9.*f %-12s %+9.*f %+7.*f%s %s\n", title, result->water.name, decimals,
           up_style_in_unit(style, b_g), interval, decimals, up_style_in_unit(style, truth_g),
           decimals, up_style_in_unit(style, shown_g), holds ? " " : "*",
           up_class_name(result->answer.class));
    return holds;
}

static void print_table(const struct demo *demo) {
    unsigned inside = 0, all = 0;
    const char *unit = up_style_unit(&demo->style);
    puts("All gear is invented.");
    UP_FREED char *net = up_text_format("net %s", unit);
    UP_FREED char *interval = up_text_format("interval %s", unit);
    UP_FREED char *truth = up_text_format("truth %s", unit);
    UP_FREED char *error = up_text_format("error %s", unit);
    printf("%-22s %-5s %9s %-12s %9s %8s class\n", "item", "water", net, interval, truth, error);
    for (unsigned i = 0; i < demo->items; i++) {
        const struct measured *measured = &demo->measured[i];
        UP_FREED char *title = up_item_title(measured->is.item.name, measured->is.item.pieces);
        for (unsigned j = 0; j < measured->is.results; j++) {
            inside += print_row(&demo->style, j == 0 ? title : "", &measured->is.result[j],
                                measured->truth_g[j]);
            all++;
        }
    }
    printf("\n"
           "%u of %u intervals contain the true value (* marks those that do not); over\n"
           "many sessions 95 of 100 should. Intervals of one session share its errors and\n"
           "miss together. SEED=2 is another session.\n",
           inside, all);
}

static void print_end(const struct demo *demo) {
    const char *name = program_name();
    up_style_say(&demo->style, stdout, "",
                 "Positive floats. Neutral is within 50 g of zero, for a pair 100 g. "
                 "\"undecided\": the item lies on a class line and says so; \"tank\" is measured, "
                 "\"fresh\" at %g C and \"sea\" at %g C are calculated.",
                 demo->water[0].temp_c, demo->water[1].temp_c);
    printf("\n"
           "Done in %.0f s. The files are in %s:\n"
           "  catalogue/plots/items.png          the picture (and items.svg; from items.gp)\n"
           "  catalogue/plots/calibration-1.png  how straight the bench is\n"
           "  catalogue/exchange/results.csv     a spreadsheet; catalogue.json: for programs\n"
           "  catalogue/catalogue.sqlite         every trial and result; runs/: raw bytes\n"
           "  rig.ini                            the rig file of the simulated tank\n"
           "Next: read the cautions in `upthrust help rig`, then at your own tank\n"
           "  %s setup --rig my-rig.ini\n"
           "  %s calibrate --rig my-rig.ini --masses-g 500,1000,2000\n"
           "  %s item add --name \"My fin\" --kind fin\n"
           "  %s measure --rig my-rig.ini --item \"My fin\"\n"
           "These numbers prepare a dive; a weight check in the water decides.\n",
           up_monotonic_s() - demo->began_s, demo->directory, name, name, name, name);
}

static void print_document(const struct demo *demo) {
    json_t *list = json_array();
    for (unsigned i = 0; i < demo->items; i++) {
        const struct measured *measured = &demo->measured[i];
        for (unsigned j = 0; j < measured->is.results; j++) {
            json_t *json = up_result_to_json(&measured->is.result[j]);
            json_object_set_new(json, "item_name", json_string(measured->is.item.name));
            json_object_set_new(json, "truth_g", json_real(measured->truth_g[j]));
            json_array_append_new(list, json);
        }
    }
    print_json(json_pack("{s:s, s:i, s:s, s:o}", "schema", "upthrust-demo-1", "seed", demo->seed,
                         "dir", demo->directory, "results", list));
}

static bool leave_files(struct demo *demo, struct up_failure *failure) {
    struct up_rows rows = {0};
    unsigned calibrations = 0, pages = 0;
    UP_FREED char *plots = up_text_format("%s/plots", up_catalogue_directory(demo->catalogue));
    const struct up_plots drawn_to = {plots, demo->style};
    UP_FREED char *exchange =
        up_text_format("%s/exchange", up_catalogue_directory(demo->catalogue));
    bool good = up_rows_load(demo->catalogue, &rows, failure) &&
                up_plot_write(&rows, NULL, &drawn_to, &pages, failure) &&
                up_plot_write_calibrations(demo->catalogue, &drawn_to, &calibrations, failure) &&
                up_export_csv(demo->catalogue, exchange, failure) &&
                up_export_json(demo->catalogue, exchange, failure);
    /* A missing gnuplot must not hide the results: it is reported after them. */
    bool drawn = good && up_plot_draw(plots, "items", NULL, failure) &&
                 (calibrations == 0 || up_plot_draw(plots, "calibration-1", NULL, failure));
    up_rows_release(&rows);
    return good && drawn;
}

static bool report(struct call *call, struct demo *demo) {
    bool drawn = leave_files(demo, call->failure);
    if (demo->json) {
        print_document(demo);
    } else {
        print_table(demo);
        print_end(demo);
    }
    for (unsigned i = 0; i < demo->items; i++) {
        if (up_session_status(&demo->measured[i].is) != UP_STATUS_DONE) {
            call->status = UP_STATUS_UNDECIDED;
        }
    }
    return drawn;
}

bool command_demo(struct call *call) {
    struct demo demo = {.json = option_given(call, "json"),
                        .seed = 1,
                        .directory = option_value(call, "dir"),
                        .began_s = up_monotonic_s()};
    if (demo.directory == NULL) {
        return refuse(call, "give --dir DIR for the demonstration's files");
    }
    if (!option_whole(call, "seed", 0, 1000000000, &demo.seed) || !style_asked(call, &demo.style)) {
        return false;
    }
    catch_signals();
    demo.measured = up_allocate(ITEMS_MAX, sizeof *demo.measured);
    fprintf(stderr, "A simulated tank, seed %d, in virtual time:\n", demo.seed);
    bool good =
        set_up(&demo, call->failure) && measure_all(&demo, call->failure) && report(call, &demo);
    stop_tank(&demo.tank);
    up_catalogue_close(demo.catalogue);
    free(demo.measured);
    die_of_signal();
    return good;
}
