/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a question about a few things reads hangs on those, not on how much else there is: counted
   in steps of SQLite and pages of the file, in a catalogue and in one eight times as large. */
#include "../catalogue/support.h"
#include "catalogue/kind.h"
#include "catalogue/run.h"
#include "catalogue/taught.h"
#include "catalogue/verification.h"
#include "report/items.h"

enum {
    SMALL = 200,
    LARGE = 1600,
    EVERY = 10,
    PAGE = 10,
    SCANNED_MOST = 120,
    SLACK_STEPS = 1500,
    SLACK_PAGES = 250 /* a small file has fewer to read */
};

/* Names that mean nothing to each other, and what is asked for beside them. */
static const char NAME[] = "the fin that is asked for";

static struct {
    struct up_item item;
    char result_id[UP_ID_SIZE], middle_id[UP_ID_SIZE], reference_id[UP_ID_SIZE];
} asked[2];
static int which; /* of the two catalogues */

static const char *folder(void) {
    return which == 0 ? "small" : "large";
}

static void put(struct up_catalogue *catalogue, const char *kind, const char *subject,
                const char *bench, json_t *content) {
    struct up_failure failure = {0};
    if (!up_catalogue_add(catalogue, kind, subject, bench, content, NULL, NULL, &failure)) {
        fail_msg("%s", failure.text);
    }
    json_decref(content);
}

static void put_run(struct up_catalogue *catalogue, const struct up_item *item, const char *run_id,
                    const char *bench) {
    put(catalogue, "run", run_id, bench,
        json_pack("{s:s, s:s, s:s}", "what", "measure", "item_id", item->id, "how_ended",
                  "completed"));
    for (int i = 1; i <= 2; i++) {
        put(catalogue, "trial", NULL, bench,
            json_pack("{s:s, s:s, s:i, s:f, s:f, s:f, s:i, s:f}", "run_id", run_id, "item_id",
                      item->id, "number", i, "load_counts", 500.0 * i, "load_g", 1.0 * i,
                      "u_plateau_counts", 5.0, "shakes", 1, "temp_c", 20.0));
    }
}

static struct up_item put_measured(struct up_catalogue *catalogue, const char *name,
                                   const char *kind, const char *bench, bool with_run) {
    struct up_item item = plain_item(name);
    struct up_failure failure = {0};
    snprintf(item.kind, sizeof item.kind, "%s", kind);
    snprintf(item.stock_number, sizeof item.stock_number, "%s", name);
    if (!up_item_add(catalogue, &item, &failure)) {
        fail_msg("%s", failure.text);
    }
    struct up_result result = plain_result(item.id, "tank");
    if (with_run) {
        put_run(catalogue, &item, result.run_id, bench);
    }
    if (!up_results_add(catalogue, &result, 1, bench, &failure)) {
        fail_msg("%s", failure.text);
    }
    return item;
}

static void put_bench(struct up_catalogue *catalogue, const char *bench) {
    struct up_calibration calibration = plain_calibration(bench, 1e5);
    assert_true(up_calibration_add(catalogue, &calibration, NULL));
}

static void put_body(struct up_catalogue *catalogue) {
    struct up_reference body = {.name = "body",
                                .mass_kg = {1.00012, 2e-5, (double)INFINITY},
                                .volume_m3 = {1.2743e-4, 3e-8, (double)INFINITY}};
    assert_true(up_reference_add(catalogue, &body, NULL));
    memcpy(asked[which].reference_id, body.id, UP_ID_SIZE);
}

/* Others' things on another bench, and a few of those that are asked for. */
static void grow(int things) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as(folder(), UP_CATALOGUE_CREATE);
    sql(catalogue->database, "PRAGMA synchronous = OFF");
    assert_true(catalogue_begin(catalogue, NULL));
    put_bench(catalogue, "another");
    put_bench(catalogue, "bench");
    put_body(catalogue);
    asked[which].item = put_measured(catalogue, NAME, "light", "bench", true);
    for (int i = 0; i < things; i++) {
        char name[32];
        snprintf(name, sizeof name, "Other %06d", i * 7919 % 1000003);
        put_measured(catalogue, name, i % 4 ? "fin" : "boot", "another", i % EVERY == 0);
        if (i % EVERY == 0) {
            put_bench(catalogue, "another");
        }
    }
    if (!catalogue_end(catalogue, true, &failure)) {
        fail_msg("%s", failure.text);
    }
    char *id = ask(catalogue->database, "SELECT subject FROM typed_result WHERE item_id = (SELECT"
                                        " subject FROM typed_item WHERE kind = 'light')");
    memcpy(asked[which].result_id, id, UP_ID_SIZE);
    free(id);
    id = ask(catalogue->database, "SELECT subject FROM typed_item ORDER BY folded_name LIMIT 1"
                                  " OFFSET (SELECT count(*) / 2 FROM typed_item)");
    memcpy(asked[which].middle_id, id, UP_ID_SIZE);
    free(id);
    up_catalogue_close(catalogue);
}

/* ---- what it takes ---- */

struct effort {
    long steps, pages;
    long worst_steps, scanned; /* of one statement */
    char worst[400], scanning[400];
};

static int note_end(unsigned event, void *context, void *of, void *nanoseconds) {
    struct effort *effort = context;
    sqlite3_stmt *statement = of;
    int steps = sqlite3_stmt_status(statement, SQLITE_STMTSTATUS_VM_STEP, 1);
    int scanned = sqlite3_stmt_status(statement, SQLITE_STMTSTATUS_FULLSCAN_STEP, 1);
    (void)event, (void)nanoseconds;
    effort->steps += steps;
    if (steps > effort->worst_steps) {
        effort->worst_steps = steps;
        snprintf(effort->worst, sizeof effort->worst, "%s", sqlite3_sql(statement));
    }
    if (scanned > effort->scanned) {
        effort->scanned = scanned;
        snprintf(effort->scanning, sizeof effort->scanning, "%s", sqlite3_sql(statement));
    }
    return 0;
}

struct question {
    const char *name;
    bool (*pose)(struct up_catalogue *catalogue, FILE *stream, struct up_failure *failure);
    bool writes;
    long more_steps; /* where some that fit are sorted: at most 2000 */
};

/* By a program that was just started: each page that it needs is read. */
static struct effort effort_of(const struct question *question) {
    struct effort effort = {.steps = 0};
    struct up_failure failure = {0};
    int pages = 0, unused = 0;
    FILE *stream = fopen("/dev/null", "w");
    struct up_catalogue *catalogue =
        open_as(folder(), question->writes ? UP_CATALOGUE_WRITE : UP_CATALOGUE_READ);
    sqlite3_trace_v2(catalogue->database, SQLITE_TRACE_PROFILE, note_end, &effort);
    if (!question->pose(catalogue, stream, &failure)) {
        fail_msg("%s: %s", question->name, failure.text);
    }
    sqlite3_db_status(catalogue->database, SQLITE_DBSTATUS_CACHE_MISS, &pages, &unused, 0);
    sqlite3_trace_v2(catalogue->database, 0, NULL, NULL);
    effort.pages = pages;
    up_catalogue_close(catalogue);
    fclose(stream);
    return effort;
}

/* ---- questions ---- */

static bool pose_show(struct up_catalogue *catalogue, FILE *stream, struct up_failure *failure) {
    static const struct up_style style = {0};
    unsigned long results = 0;
    struct up_item item;
    char *why = NULL;
    bool good = up_item_find(catalogue, NAME, &item, failure) &&
                up_left_out_of_item(catalogue, item.id, &results, &why, failure) &&
                up_catalogue_focus(catalogue, (const char *[]){item.id}, 1, failure) &&
                up_sheet_print(catalogue, &item, &style, stream, failure);
    free(why);
    return good;
}

static bool pose_explain(struct up_catalogue *catalogue, FILE *stream, struct up_failure *failure) {
    (void)stream;
    /* That there is no model in what the test stores is found at the end. */
    json_t *document = up_explain(catalogue, asked[which].item.id, NULL, failure);
    bool good = document != NULL || strstr(failure->text, "model") != NULL;
    json_decref(document);
    return good;
}

static bool pose_find(struct up_catalogue *catalogue, FILE *stream, struct up_failure *failure) {
    struct up_item item;
    int count = 0;
    char beginning[14];
    (void)stream;
    snprintf(beginning, sizeof beginning, "%.13s", asked[which].item.id);
    return up_item_find(catalogue, "THE FIN that is asked for", &item, failure) &&
           up_item_find(catalogue, asked[which].item.id, &item, failure) &&
           up_item_find(catalogue, beginning, &item, failure) &&
           up_items_called(catalogue, NAME, count_one, &count, failure);
}

static bool pose_find_none(struct up_catalogue *catalogue, FILE *stream,
                           struct up_failure *failure) {
    struct up_item item, other;
    struct up_failure unused;
    (void)stream;
    item = plain_item("no such thing");
    return !up_items_called(catalogue, "no such thing", count_one, &(int){0}, &unused) ||
           up_item_look_alike(catalogue, &item, &other, failure);
}

static const struct up_choice *list_choice;
static bool list_after;

static bool pose_list(struct up_catalogue *catalogue, FILE *stream, struct up_failure *failure) {
    static const struct up_style style = {0};
    struct up_choice choice = *list_choice;
    char last_id[UP_ID_SIZE] = "";
    bool more = false;
    bool good = up_items_page(catalogue, PAGE, list_after ? asked[which].middle_id : NULL, &choice,
                              &more, last_id, failure) &&
                up_items_print(catalogue, &choice, &style, stream, failure);
    json_decref(choice.only);
    return good;
}

static bool pose_start(struct up_catalogue *catalogue, FILE *stream, struct up_failure *failure) {
    const struct up_taught_bench bench = {"bench", "x", 10, 5, false};
    struct up_early_envelope envelope[UP_QUICK_STEPS];
    struct up_calibration calibration;
    struct up_kind kind;
    struct up_chart chart;
    enum up_verification verification = UP_VERIFICATION_INSIDE;
    const struct up_water tank = {.temp_c = 20};
    struct up_calibration_history history;
    char last_utc[UP_TIME_SIZE];
    (void)stream;
    up_catalogue_clock_is_behind(catalogue, "bench", last_utc);
    return up_run_recover(catalogue, NULL, NULL, failure) &&
           up_calibration_to_use(catalogue, "bench", &calibration, failure) &&
           up_calibration_past(catalogue, "bench", calibration.rig_sha256, &history, failure) &&
           up_kind_learn(catalogue, "light", "bench", &kind, failure) &&
           up_taught_learn(catalogue, &bench, envelope, failure) &&
           up_verification_now(catalogue, "bench", calibration.id, &tank, &verification, failure) &&
           up_reference_chart(catalogue, asked[which].reference_id, "bench", &chart, failure);
}

static bool pose_store(struct up_catalogue *catalogue, FILE *stream, struct up_failure *failure) {
    struct up_item item = asked[which].item;
    struct up_result result = plain_result(item.id, "tank");
    (void)stream;
    snprintf(item.note, sizeof item.note, "changed");
    return up_item_add(catalogue, &item, failure) &&
           up_results_add(catalogue, &result, 1, "bench", failure);
}

/* ---- both ---- */

static void compare(const struct question *question) {
    struct effort effort[2];
    for (which = 0; which < 2; which++) {
        effort[which] = effort_of(question);
    }
    print_message("# %s: %ld and %ld steps, %ld and %ld pages, %ld scanned\n", question->name,
                  effort[0].steps, effort[1].steps, effort[0].pages, effort[1].pages,
                  effort[1].scanned);
    if (effort[1].scanned > SCANNED_MOST) {
        fail_msg("%s goes through %ld rows: %s", question->name, effort[1].scanned,
                 effort[1].scanning);
    }
    if (effort[1].steps > effort[0].steps * 3 / 2 + SLACK_STEPS + question->more_steps ||
        effort[1].pages > effort[0].pages * 3 / 2 + SLACK_PAGES) {
        fail_msg("%s: %ld steps and %ld pages among a few, %ld and %ld among many; most in %s",
                 question->name, effort[0].steps, effort[0].pages, effort[1].steps, effort[1].pages,
                 effort[1].worst);
    }
}

static int begin(void **state) {
    if (enter(state) != 0) {
        return -1;
    }
    for (which = 0; which < 2; which++) {
        grow(which == 0 ? SMALL : LARGE);
    }
    return 0;
}

static void one_thing_takes_as_much_among_many(void **state) {
    (void)state;
    static const struct question questions[] = {
        {"show", pose_show, false, 0},
        {"explain", pose_explain, false, 0},
        {"find", pose_find, false, 0},
        {"find none", pose_find_none, false, 0},
        {"begin measuring", pose_start, true, 0},
        {"store", pose_store, true, 0},

    };
    for (size_t i = 0; i < ARRAY(questions); i++) {
        compare(&questions[i]);
    }
}

static void a_page_takes_as_much_among_many(void **state) {
    (void)state;
    static const char *const waters[] = {"tank"}, *const few[] = {"asked for"},
                             *const many[] = {"other"}, *const letters[] = {"o"};
    static const struct {
        const char *name;
        struct up_choice choice;
        long more_steps;
    } lists[] = {
        {"list", {.kind = NULL}, 0},
        {"list by kind", {.sort = "kind"}, 0},
        {"list by maker", {.sort = "maker"}, 0},
        {"list by model", {.sort = "model"}, 0},
        {"list by size", {.sort = "size"}, 0},
        {"list boots", {.kind = "boot"}, 0},
        {"list boots by size", {.kind = "boot", .sort = "size"}, 20000},
        {"list negative ones", {.class = "negative"}, 0},
        {"list in a water", {.waters = waters, .water_count = 1}, 0},
        {"list with rare words", {.text = few, .texts = 1}, 0},
        {"list with frequent words", {.text = many, .texts = 1}, 40000},
        {"list with one letter", {.text = letters, .texts = 1}, 0},
        {"list the retired, too", {.retired = true}, 0},
    };
    for (size_t i = 0; i < 2 * ARRAY(lists); i++) {
        UP_FREED char *name = up_text_format("%s%s", lists[i / 2].name, i % 2 ? ", after one" : "");
        const struct question question = {name, pose_list, false, lists[i / 2].more_steps};
        list_choice = &lists[i / 2].choice;
        list_after = i % 2;
        compare(&question);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_page_takes_as_much_among_many),
        cmocka_unit_test(one_thing_takes_as_much_among_many),
    };
    return cmocka_run_group_tests_name("report: what a question reads", tests, begin, leave);
}
