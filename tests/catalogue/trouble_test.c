/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Disks that fill at any moment, a catalogue that is taken away, names that mean something. */
#include "support.h"

#include <errno.h>
#include <sys/mount.h>

#include "catalogue/run.h"

/* ---- a disk that is full ---- */

enum { DISK_KIB = 1536 };

static void fill_disk(long left_kib) {
    static char block[1024];
    FILE *stream = fopen("disk/filling", "wb");
    assert_non_null(stream);
    setvbuf(stream, NULL, _IONBF, 0);
    while (fwrite(block, 1, sizeof block, stream) == sizeof block) {
    }
    fclose(stream);
    struct stat about;
    assert_int_equal(stat("disk/filling", &about), 0);
    long keep = about.st_size - left_kib * 1024;
    assert_int_equal(truncate("disk/filling", keep > 0 ? keep : 0), 0);
}

/* What was acknowledged before the disk was full. */
struct stored {
    int items, trials, results;
};

static bool measure(struct up_catalogue *catalogue, struct up_run *run, struct stored *stored,
                    struct up_failure *failure) {
    static const char bytes[3000] = {'1'};
    struct up_result result[2] = {plain_result("some-item", "tank"),
                                  plain_result("some-item", "sea")};
    json_t *trial = json_pack("{s:s}", "filling", NAME_300);
    bool good = true;
    for (int i = 0; good && i < 5; i++) {
        up_run_bytes(run, bytes, sizeof bytes);
        good = up_run_journal(run, json_pack("{s:s}", "event", "trial"), failure) &&
               up_catalogue_add(catalogue, "trial", NULL, "bench", trial, NULL, NULL, failure);
        stored->trials += good;
    }
    good = good && up_results_add(catalogue, result, 2, "bench", failure);
    stored->results += good ? 2 : 0;
    json_decref(trial);
    return good && up_run_end(run, "completed", NULL, failure) &&
           up_export_csv(catalogue, "disk/c/exchange", failure) &&
           up_export_json(catalogue, "disk/c/exchange", failure);
}

static bool work_on_full_disk(struct stored *stored, struct up_failure *failure) {
    struct up_catalogue *catalogue = NULL;
    struct up_run *run = NULL;
    char run_id[UP_ID_SIZE];
    json_t *about = json_object();
    struct up_item item = plain_item("a fin");
    bool good = up_catalogue_open("disk/c", UP_CATALOGUE_CREATE, &catalogue, failure) &&
                up_item_add(catalogue, &item, failure);
    stored->items += good;
    good = good && up_run_open(catalogue, "bench", about, run_id, &run, failure) &&
           measure(catalogue, run, stored, failure);
    up_run_close(run);
    up_catalogue_close(catalogue);
    json_decref(about);
    return good;
}

static bool try_with(long left_kib) {
    struct up_failure failure = {0};
    struct stored stored = {0};
    assert_int_equal(mount("none", "disk", "tmpfs", 0, "size=1536k"), 0);
    fill_disk(left_kib);
    bool good = work_on_full_disk(&stored, &failure);
    if (!good) {
        assert_int_equal(failure.status, UP_STATUS_UNABLE);
        assert_non_null(strstr(failure.text, "disk/c"));
        if (strcasestr(failure.text, "space") == NULL && strstr(failure.text, "full") == NULL) {
            fail_msg("%ld KiB left: %s", left_kib, failure.text);
        }
    }
    assert_int_equal(remove("disk/filling"), 0);
    struct up_catalogue *catalogue = open_as("disk/c", UP_CATALOGUE_CREATE);
    assert_answer(catalogue->database, "PRAGMA integrity_check", "ok");
    assert_int_equal(count_kind(catalogue, "item"), stored.items);
    assert_int_equal(count_kind(catalogue, "trial"), stored.trials);
    assert_int_equal(count_kind(catalogue, "result"), stored.results);
    assert_true(up_export_json(catalogue, "disk/c/exchange", &failure));
    up_catalogue_close(catalogue);
    assert_int_equal(umount("disk"), 0);
    return good;
}

static void a_full_disk_at_each_write_loses_nothing(void **state) {
    (void)state;
    int failed = 0, tried = 0;
    bool good = false;
    assert_int_equal(mkdir("disk", 0777), 0);
    if (mount("none", "disk", "tmpfs", 0, "size=64k") != 0) {
        print_message("# no right to mount a small disk: not tried\n");
        skip();
    }
    assert_int_equal(umount("disk"), 0);
    for (long left_kib = 0; left_kib < DISK_KIB && !good; left_kib += 8) {
        good = try_with(left_kib);
        failed += !good;
        tried++;
    }
    print_message("# %d disks too small, %d tried\n", failed, tried);
    assert_true(good && failed > 14);
}

/* ---- a catalogue that goes away ---- */

static void a_removed_catalogue_is_told(void **state) {
    (void)state;
    struct up_failure failure = {0};
    char run_id[UP_ID_SIZE];
    struct up_run *run = NULL;
    json_t *content = json_object();
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(up_run_open(catalogue, "bench", content, run_id, &run, &failure));
    assert_int_equal(nftw("c", remove_one, 16, FTW_DEPTH | FTW_PHYS), 0);
    assert_false(
        up_catalogue_add(catalogue, "trial", NULL, "bench", content, NULL, NULL, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "the catalogue c was removed or replaced while");
    assert_false(up_run_end(run, "failed", NULL, &failure));
    struct up_catalogue *other = open_as("c", UP_CATALOGUE_CREATE);
    assert_false(
        up_catalogue_add(catalogue, "trial", NULL, "bench", content, NULL, NULL, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "removed or replaced");
    assert_int_equal(count_kind(other, "trial"), 0);
    up_catalogue_close(other);
    up_run_close(run);
    json_decref(content);
    up_catalogue_close(catalogue);
}

static bool refuses_all(void) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = NULL;
    if (up_catalogue_open("c", UP_CATALOGUE_WRITE, &catalogue, &failure) ||
        strstr(failure.text, "cannot be written, only read") == NULL ||
        !up_catalogue_open("c", UP_CATALOGUE_READ, &catalogue, &failure)) {
        return false;
    }
    bool good = !up_export_csv(catalogue, "c/exchange", &failure) &&
                strstr(failure.text, "c/exchange") != NULL;
    up_catalogue_close(catalogue);
    return good;
}

static void a_catalogue_for_reading_refuses_in_words(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(catalogue, "fin");
    up_catalogue_close(catalogue);
    assert_int_equal(chmod("c/catalogue.sqlite", 0444), 0);
    assert_int_equal(chmod("c/exchange", 0555), 0);
    assert_int_equal(chmod("c", 0555), 0);
    assert_true(as_nobody(refuses_all));
}

static int leave_disk(void **state) {
    umount2("disk", MNT_DETACH);
    return leave(state);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_full_disk_at_each_write_loses_nothing, enter, leave_disk),
        TEST(a_removed_catalogue_is_told),
        TEST(a_catalogue_for_reading_refuses_in_words),
    };
    return cmocka_run_group_tests_name("catalogue: trouble", tests, NULL, NULL);
}
