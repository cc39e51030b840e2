/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The trace of a run: what its stream and its journal hold is drawn, and no name runs. */
#include "../catalogue/support.h"

#include "catalogue/run.h"
#include "drawing.h"
#include "report/report.h"

#define RIG                                                                                        \
    "[rig]\nid = bench\n[port]\nkind = capture\npath = c\n[line]\nlayout = fields\n"               \
    "separator = comma\ntime_field = 1\ntime_unit = ms\nload_field = 2\n"
#define HOSTILE "\"; system(\"touch MARK\") `touch MARK` @x %s {/Bold x}^2_3\\"

static struct up_rig rig_of(const char *text) {
    struct up_failure failure = {0};
    struct up_rig rig;
    if (!up_rig_parse("test.ini", text, &rig, &failure)) {
        fail_msg("%s", failure.text);
    }
    return rig;
}

static void add_calibration(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    json_t *content = json_pack("{s:f}", "slope_counts_kg", 1e6);
    assert_true(
        up_catalogue_add(catalogue, "calibration", NULL, "bench", content, NULL, NULL, &failure));
    json_decref(content);
    usleep(3000); /* it is older than the run, by the clock's milliseconds */
}

static void put_lines(struct up_run *run, int from, int to, int load) {
    for (int i = from; i < to; i++) {
        char line[64];
        int wobble = i * 7919 % 13;
        int length =
            snprintf(line, sizeof line, "%d,%d\n", i * 100, i == 250 ? 8000000 : load + wobble);
        up_run_bytes(run, line, (size_t)length);
    }
}

static void put_plateau(struct up_run *run, const char *of, double start_s, double load) {
    struct up_failure failure = {0};
    assert_true(
        up_run_journal(run,
                       json_pack("{s:s, s:s, s:f, s:f, s:f}", "event", "plateau", "of", of,
                                 "start_s", start_s, "end_s", start_s + 5, "load_counts", load),
                       &failure));
}

static const char *measured_with; /* as the run records it; NULL: it does not */

/* Empty, then a shaken load of 200 g with one glitch. */
static void make_run(struct up_catalogue *catalogue, const char *item_id, bool empty,
                     char run_id[UP_ID_SIZE]) {
    struct up_failure failure = {0};
    struct up_rig rig = rig_of(RIG);
    struct up_run *run = NULL;
    json_t *about = json_pack("{s:s, s:s, s:s, s:s*}", "what", "measure", "rig_sha256", rig.sha256,
                              "item_id", item_id, "calibration_id", measured_with);
    assert_true(up_run_open(catalogue, "bench", about, run_id, &run, &failure));
    json_decref(about);
    if (!empty) {
        put_lines(run, 0, 200, 50000);
        put_plateau(run, "tare", 10, 50000);
        assert_true(up_run_journal(
            run, json_pack("{s:s, s:s, s:f}", "event", "ask", "do", "shake", "time_s", 19.9),
            &failure));
        put_lines(run, 200, 400, 250000);
        put_plateau(run, "water", 30, 250000);
    }
    up_run_close(run);
}

static char *read_text(const char *path) {
    size_t room = 1 << 22;
    char *text = up_allocate(room, 1);
    FILE *stream = fopen(path, "rb");
    if (stream == NULL) {
        fail_msg("%s is not there", path);
    }
    text[fread(text, 1, room - 1, stream)] = '\0';
    fclose(stream);
    return text;
}

static char *read_made(const char *run_id, const char *ending) {
    char name[60];
    snprintf(name, sizeof name, "run-%.8s.%s", run_id, ending);
    return read_text(name);
}

static int lines_of_kind(const char *data, char kind) {
    int count = 0;
    for (const char *at = data; (at = strchr(at, '\n')) != NULL; at++) {
        count += at[1] == kind && at[2] == '\t';
    }
    return count;
}

static void write_run(struct up_catalogue *catalogue, const char *run, const struct up_rig *rig) {
    struct up_failure failure = {0};
    char run_id[UP_ID_SIZE];
    if (!up_plot_write_run(catalogue, run, rig, PLOTS_IN("."), run_id, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static bool take_date(const struct up_record *record, void *context) {
    snprintf(context, UP_TIME_SIZE, "%.10s", record->made_utc);
    return true;
}

static void readings_plateaus_glitches_and_shakes_are_there(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, HOSTILE);
    struct up_rig rig = rig_of(RIG);
    struct up_failure failure = {0};
    char run_id[UP_ID_SIZE];
    add_calibration(catalogue);
    make_run(catalogue, item.id, false, run_id);
    write_run(catalogue, run_id, &rig);
    char *data = read_made(run_id, "tsv"), *script = read_made(run_id, "gp");
    assert_int_equal(lines_of_kind(data, '0'), 399);
    assert_int_equal(lines_of_kind(data, '1'), 1);
    assert_int_equal(lines_of_kind(data, '2'), 1);
    assert_int_equal(lines_of_kind(data, '3'), 1);
    assert_non_null(strstr(data, "\t200\t")); /* grams */
    assert_non_null(strstr(script, "set label \"shaken\" at 0.3317,"));
    assert_null(strstr(data, "MARK"));
    free(data);
    free(script);
    if (system("command -v gnuplot >/dev/null 2>&1") == 0) {
        char *name = up_text_format("run-%.8s", run_id);
        assert_true(up_plot_draw(".", name, NULL, &failure));
        free(name);
        char *drawing = read_made(run_id, "svg");
        char date[UP_TIME_SIZE];
        assert_true(up_catalogue_each(catalogue, "run", take_date, date, &failure));
        char *title = up_text_format("%s, run %.8s of %s", HOSTILE, run_id, date);
        drawing_decode(drawing);
        assert_true(drawing_has_text(drawing, title));
        free(title);
        free(drawing);
        assert_int_not_equal(access("MARK", F_OK), 0);
    }
    up_catalogue_close(catalogue);
}

static void assert_run_in_grams(struct up_catalogue *catalogue, const char *named,
                                const char *grams) {
    char run_id[UP_ID_SIZE];
    measured_with = named;
    make_run(catalogue, "", false, run_id);
    measured_with = NULL;
    write_run(catalogue, run_id, NULL);
    char *data = read_made(run_id, "tsv");
    assert_non_null(strstr(data, grams));
    free(data);
}

/* Theirs is the newest, but our run was not measured with it. */
static void grams_are_by_the_calibration_of_the_run(void **state) {
    (void)state;
    struct up_intake intake;
    struct up_calibration mine = plain_calibration("bench", 1e6), older = mine,
                          theirs = plain_calibration("bench", 4e6);
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    older.slope_counts_per_kg = 2e6;
    assert_true(up_calibration_add(catalogue, &older, NULL));
    usleep(3000);
    assert_true(up_calibration_add(catalogue, &mine, NULL));
    usleep(3000);
    for (int i = 0; i < 3; i++) { /* by its number, too */
        assert_true(up_calibration_add(other, &theirs, NULL));
    }
    assert_true(up_catalogue_merge(catalogue, "other", false, &intake, NULL));
    usleep(3000);
    assert_run_in_grams(catalogue, NULL, "\t200\t");
    assert_run_in_grams(catalogue, older.id, "\t100\t");
    assert_run_in_grams(catalogue, theirs.id, "\t50\t"); /* it was adopted then */
    up_catalogue_close(other);
    up_catalogue_close(catalogue);
}

static void without_the_rig_the_journal_is_drawn(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    char run_id[UP_ID_SIZE];
    make_run(catalogue, "", false, run_id);
    write_run(catalogue, "latest", NULL);
    char *data = read_made(run_id, "tsv"), *script = read_made(run_id, "gp");
    assert_int_equal(lines_of_kind(data, '0'), 0);
    assert_int_equal(lines_of_kind(data, '1') + lines_of_kind(data, '2'), 2);
    assert_non_null(strstr(script, "readings = 0\n"));
    assert_non_null(strstr(script, "calibrated = 0\n"));
    free(data);
    free(script);
    up_catalogue_close(catalogue);
}

/* Half an hour at lunch is a mark; what was read before and after it stands together, and a bare
   hook before the first empty reading is left out. */
static void waits_and_the_bare_hook_are_left_out(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_rig rig = rig_of(RIG);
    struct up_run *run = NULL;
    char run_id[UP_ID_SIZE];
    add_calibration(catalogue);
    json_t *about = json_pack("{s:s, s:s}", "what", "measure", "rig_sha256", rig.sha256);
    assert_true(up_run_open(catalogue, "bench", about, run_id, &run, &failure));
    json_decref(about);
    put_plateau(run, "hook", 10, -9e6);
    put_plateau(run, "tare", 40, 50000);
    put_plateau(run, "water", 60, 150000);
    put_plateau(run, "tare", 1860, 50000);
    up_run_close(run);
    write_run(catalogue, run_id, NULL);
    char *data = read_made(run_id, "tsv"), *script = read_made(run_id, "gp");
    assert_null(strstr(data, "-9"));
    assert_non_null(strstr(data, "\n1\t0\t0\t")); /* the picture begins with the first empty one */
    assert_int_equal(lines_of_kind(data, '4'), 1);
    assert_non_null(strstr(data, "\n1\t1.166")); /* 25 s, 45 s of the wait, so 70 s */
    assert_non_null(strstr(script, "1 wait of 29 min in total left out"));
    assert_non_null(strstr(script, "gaps = 1\n"));
    assert_non_null(strstr(script, "\"UP: it lifts\""));
    free(data);
    free(script);
    if (system("command -v gnuplot >/dev/null 2>&1") == 0) {
        char why[400], *name = up_text_format("run-%.8s", run_id);
        assert_true(up_plot_draw(".", name, NULL, &failure));
        free(name);
        char *svg = read_made(run_id, "svg");
        if (!drawing_is_laid_out(svg, why, sizeof why)) {
            fail_msg("%s", why);
        }
        assert_non_null(strstr(svg, "DOWN: it pulls"));
        free(svg);
    }
    up_catalogue_close(catalogue);
}

static void assert_not_drawn(struct up_catalogue *catalogue, const char *run,
                             const struct up_rig *rig, enum up_status status, const char *words) {
    struct up_failure failure = {0};
    char run_id[UP_ID_SIZE];
    assert_false(up_plot_write_run(catalogue, run, rig, PLOTS_IN("."), run_id, &failure));
    assert_says(&failure, status, words);
}

/* Nor what a folder of another run holds. */
static void the_latest_is_one_of_here(void **state) {
    (void)state;
    char ours[UP_ID_SIZE], theirs[UP_ID_SIZE], drawn[UP_ID_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    make_run(catalogue, "", false, ours);
    usleep(3000);
    make_run(catalogue, "", false, theirs);
    char *forget = up_text_format("DELETE FROM local_mark WHERE record_id IN (SELECT id FROM record"
                                  " WHERE subject = '%s')",
                                  theirs);
    sql(catalogue->database, forget);
    assert_true(up_plot_write_run(catalogue, "latest", NULL, PLOTS_IN("."), drawn, NULL));
    assert_string_equal(drawn, ours);
    assert_true(
        up_plot_write_run(catalogue, theirs, NULL, PLOTS_IN("."), drawn, NULL)); /* by name */
    char *from = up_text_format("c/runs/%s", theirs), *to = up_text_format("c/runs/%s", ours);
    assert_int_equal(rename(to, "kept"), 0);
    assert_int_equal(rename(from, to), 0);
    assert_not_drawn(catalogue, "latest", NULL, UP_STATUS_WRONG_INPUT, "is of another run");
    sql(catalogue->database, "DELETE FROM local_mark");
    assert_not_drawn(catalogue, "latest", NULL, UP_STATUS_WRONG_INPUT, "no run");
    free(forget);
    free(from);
    free(to);
    up_catalogue_close(catalogue);
}

static void what_cannot_be_drawn_is_told(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_rig other = rig_of(RIG "columns = 2\n");
    char run_id[UP_ID_SIZE];
    assert_not_drawn(catalogue, "latest", NULL, UP_STATUS_WRONG_INPUT, "no run");
    make_run(catalogue, "", false, run_id);
    assert_not_drawn(catalogue, run_id, &other, UP_STATUS_WRONG_INPUT, "sections line and sensor");
    assert_not_drawn(catalogue, "ab", NULL, UP_STATUS_WRONG_INPUT, "four characters");
    assert_not_drawn(catalogue, "../../", NULL, UP_STATUS_WRONG_INPUT, "no run");
    usleep(3000);
    make_run(catalogue, "", true, run_id);
    assert_not_drawn(catalogue, run_id, NULL, UP_STATUS_UNABLE, "nothing to draw");
    up_catalogue_close(catalogue);
}

/* A record that another program wrote: its id must not lead anywhere. */
static void a_path_for_an_id_is_no_run(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_failure failure = {0};
    json_t *content = json_object();
    catalogue_signs = false; /* no envelope holds that */
    assert_true(up_catalogue_add(catalogue, "run", "../../../../../../etc", "b", content, NULL,
                                 NULL, &failure));
    json_decref(content);
    assert_not_drawn(catalogue, "latest", NULL, UP_STATUS_WRONG_INPUT, "is damaged");
    up_catalogue_close(catalogue);
}

/* A catalogue that came from somebody else may hold anything under these names. */
static void a_run_s_files_are_plain_files(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_rig rig = rig_of(RIG);
    char run_id[UP_ID_SIZE];
    make_run(catalogue, "", false, run_id);
    char *stream = up_text_format("c/runs/%s/stream", run_id);
    char *journal = up_text_format("c/runs/%s/journal.jsonl", run_id);
    assert_true(unlink(stream) == 0 && mkfifo(stream, 0600) == 0);
    assert_not_drawn(catalogue, run_id, &rig, UP_STATUS_UNABLE, "stream: it is a pipe or a device");
    assert_true(unlink(journal) == 0 && symlink("/dev/zero", journal) == 0);
    assert_not_drawn(catalogue, run_id, NULL, UP_STATUS_UNABLE, "journal.jsonl: it is a link");
    free(stream);
    free(journal);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(readings_plateaus_glitches_and_shakes_are_there),
        TEST(grams_are_by_the_calibration_of_the_run),
        TEST(without_the_rig_the_journal_is_drawn),
        TEST(waits_and_the_bare_hook_are_left_out),
        TEST(the_latest_is_one_of_here),
        TEST(what_cannot_be_drawn_is_told),
        TEST(a_path_for_an_id_is_no_run),
        TEST(a_run_s_files_are_plain_files),
    };
    return cmocka_run_group_tests_name("report: run plot", tests, NULL, NULL);
}
