/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes as a list of items: refused in a line, or each item once and the same each time,
   however lines end. */
#include "fuzz_catalogue.h"
#include "session/session.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must_be_a_queue(const struct up_queue *queue) {
    must(queue->count >= 1 && queue->count <= UP_QUEUE_MAX && strlen(queue->id) == UP_ID_SIZE - 1);
    must(up_queue_remaining(queue) == queue->count);
    for (unsigned i = 0; i < queue->count; i++) {
        must(queue->entry[i].item.name[0] != '\0' && queue->entry[i].unfinished_run[0] == '\0');
        for (unsigned k = 0; k < i; k++) {
            must(strcmp(queue->entry[i].item.id, queue->entry[k].item.id) != 0);
        }
    }
}

/* The same with the ends of lines that other systems write, and no end of the last. */
static void write_otherwise(const uint8_t *data, size_t size) {
    char *text = up_allocate(2 * size + 1, 1);
    size_t length = 0;
    for (size_t i = 0; i < size; i++) {
        if (data[i] == '\n' && (i == 0 || data[i - 1] != '\r')) {
            text[length++] = '\r';
        }
        text[length++] = (char)data[i];
    }
    length -= length > 0 && text[length - 1] == '\n';
    shelf_write("otherwise.txt", text, length);
    free(text);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    static struct shelf shelf;
    struct up_failure failure = {0}, why = {0};
    struct up_queue *queue = up_allocate(2, sizeof *queue);
    if (shelf.mine == NULL) {
        shelf_enter();
        shelf_begin(&shelf, "mine", true);
    }
    shelf_write("list.txt", data, size);
    write_otherwise(data, size);
    bool good = up_queue_open(&queue[0], shelf.mine, "list.txt", NULL, &failure);
    must(up_queue_open(&queue[1], shelf.mine, "otherwise.txt", NULL, &why) == good);
    if (good) {
        must_be_a_queue(&queue[0]);
        must(queue[0].count == queue[1].count);
        for (unsigned i = 0; i < queue->count; i++) {
            const struct up_queue_entry *one = &queue[0].entry[i], *other = &queue[1].entry[i];
            must(one->is_new == other->is_new && strcmp(one->item.name, other->item.name) == 0);
            must(one->is_new || strcmp(one->item.id, other->item.id) == 0);
            must(one->mass_kg == other->mass_kg && one->mass_kg >= 0);
        }
        must(!up_queue_open(&queue[1], shelf.mine, "list.txt", "a-bench", &why));
        must(strstr(why.text, "list.txt") != NULL);
    } else {
        must_be_a_line(&failure);
        must(failure.status == UP_STATUS_WRONG_INPUT && strstr(failure.text, "list.txt") != NULL);
    }
    free(queue);
    return 0;
}
