/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The files in exchange/ after a session: as an export would write them, or said to be old. */
#include "support.h"

static char *read_all(const char *path) {
    static char text[1 << 20];
    FILE *stream = fopen(path, "rb");
    assert_non_null(stream);
    size_t length = fread(text, 1, sizeof text - 1, stream);
    fclose(stream);
    text[length] = '\0';
    return text;
}

static void export_both(struct up_catalogue *catalogue, const char *directory) {
    struct up_failure failure = {0};
    if (!up_export_csv(catalogue, directory, &failure) ||
        !up_export_json(catalogue, directory, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static bool is_there(const char *path) {
    return access(path, F_OK) == 0;
}

static bool update(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    bool late = false;
    if (!up_exchange_update(catalogue, &late, &failure)) {
        fail_msg("%s", failure.text);
    }
    return late;
}

static void assert_whole_as(const char *const *files, size_t count) {
    for (size_t i = 0; i < count; i++) {
        char path[100];
        snprintf(path, sizeof path, "c/exchange/%s", files[i]);
        char *text = strdup(read_all(path));
        snprintf(path, sizeof path, "out/%s", files[i]);
        assert_string_equal(text, read_all(path));
        free(text);
    }
}

static void a_large_catalogue_says_that_its_files_are_old(void **state) {
    (void)state;
    static const char *const files[] = {"items.csv", "results.csv", "catalogue.json"};
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(catalogue, "first");
    assert_false(update(catalogue));
    export_both(catalogue, "out");
    assert_whole_as(files, ARRAY(files));
    assert_false(is_there("c/exchange/CSV-OUT-OF-DATE.txt"));

    up_exchange_records_most = 1; /* the writer's own and the item are two */
    add_item(catalogue, "second");
    assert_true(update(catalogue));
    assert_whole_as(files, ARRAY(files)); /* as they were, and each form says so */
    assert_non_null(strstr(read_all("c/exchange/CSV-OUT-OF-DATE.txt"), "--format csv"));
    assert_non_null(strstr(read_all("c/exchange/JSON-OUT-OF-DATE.txt"), "--format json"));

    assert_true(up_export_csv(catalogue, "c/exchange", &failure));
    assert_false(is_there("c/exchange/CSV-OUT-OF-DATE.txt"));
    assert_true(is_there("c/exchange/JSON-OUT-OF-DATE.txt"));
    assert_true(up_export_json(catalogue, "c/exchange", &failure));
    assert_false(is_there("c/exchange/JSON-OUT-OF-DATE.txt"));
    export_both(catalogue, "out");
    assert_whole_as(files, ARRAY(files));

    assert_true(update(catalogue));
    up_exchange_records_most = 5000; /* what fits again is written again */
    assert_false(update(catalogue));
    assert_false(is_there("c/exchange/CSV-OUT-OF-DATE.txt"));
    up_catalogue_close(catalogue);
}

static bool renews_notice;

static void renew_notice(const char *doing, unsigned long done) {
    (void)doing;
    (void)done;
    up_exchange_records_most = 1;
    if (renews_notice) {
        struct up_catalogue *other = open_as("c", UP_CATALOGUE_WRITE);
        renews_notice = false;
        assert_true(update(other));
        up_catalogue_close(other);
    }
}

/* Another session ended while the files were written: they do not have what it stored. */
static void what_was_put_off_meanwhile_is_still_told(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(catalogue, "first");
    up_exchange_records_most = 1;
    assert_true(update(catalogue));
    renews_notice = true;
    up_catalogue_watch(catalogue, renew_notice);
    assert_true(up_export_csv(catalogue, "c/exchange", &failure));
    assert_false(renews_notice);
    assert_true(is_there("c/exchange/CSV-OUT-OF-DATE.txt"));
    up_catalogue_watch(catalogue, NULL);
    assert_true(up_export_csv(catalogue, "c/exchange", &failure));
    assert_false(is_there("c/exchange/CSV-OUT-OF-DATE.txt"));
    up_exchange_records_most = 5000;
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_large_catalogue_says_that_its_files_are_old),
        TEST(what_was_put_off_meanwhile_is_still_told),
    };
    return cmocka_run_group_tests_name("catalogue: exchange files of large catalogues", tests, NULL,
                                       NULL);
}
