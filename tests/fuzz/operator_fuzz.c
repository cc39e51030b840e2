/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes from a program that plays the operator: each line is an answer or refused in a line of
   JSON, then comes the stop; in pieces as in one. */
#include "fuzz_catalogue.h"
#include "operator/internal.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

enum { HEARD_BYTES_MAX = 2000 };

struct heard {
    unsigned answers, refused;
    double sum; /* of ids, words and numbers */
};

static void must_be_an_answer(const struct up_reply *reply) {
    must(reply->kind == UP_REPLY_ANSWER && reply->id >= 1 && reply->id < 1000000000);
    must(reply->word >= UP_ANSWER_DONE && reply->word <= UP_ANSWER_NUMBER);
    must(reply->word != UP_ANSWER_NUMBER || isfinite(reply->number));
}

/* What was written back: a line of JSON for each that was refused. */
static unsigned count_refused(char *text) {
    unsigned count = 0;
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n")) {
        json_t *json = json_loads(line, JSON_REJECT_DUPLICATES, NULL);
        must(strcmp(up_record_text(json, "event"), "refused") == 0);
        must(json_is_integer(json_object_get(json, "id")) && up_record_text(json, "text")[0] != 0);
        json_decref(json);
        count++;
    }
    return count;
}

static void take(struct heard *heard, const struct up_reply *reply) {
    must_be_an_answer(reply);
    heard->answers++;
    heard->sum += reply->id * 1e-3 + (double)reply->word;
    heard->sum += reply->word == UP_ANSWER_NUMBER ? reply->number / (1 + fabs(reply->number)) : 0;
}

/* `step` bytes at a time through a pipe, which then ends. */
static struct heard hear(const uint8_t *data, size_t size, size_t step) {
    struct heard heard = {0};
    struct up_reply reply = {0};
    char *said = NULL;
    size_t length = 0;
    int ends[2];
    FILE *output = open_memstream(&said, &length);
    must(output != NULL && pipe(ends) == 0);
    struct up_operator *op = up_operator_create(UP_OPERATOR_JSON, ends[0], output);
    for (size_t from = 0; from < size; from += step) {
        size_t piece = size - from < step ? size - from : step;
        must(write(ends[1], data + from, piece) == (ssize_t)piece);
        for (size_t i = 0; i < piece + 2; i++) { /* a line for each byte at most */
            if (operator_read(op, &reply)) {
                take(&heard, &reply);
            }
        }
    }
    close(ends[1]);
    for (size_t i = 0; !op->ended || op->length > 0; i++) {
        must(i < size + 3);
        if (operator_read(op, &reply) && reply.kind == UP_REPLY_ANSWER) {
            take(&heard, &reply);
        }
    }
    must(operator_read(op, &reply) && reply.kind == UP_REPLY_STOP);
    up_operator_destroy(op);
    close(ends[0]);
    must(fclose(output) == 0);
    heard.refused = count_refused(said);
    free(said);
    return heard;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    unsigned lines;
    size = size > HEARD_BYTES_MAX ? HEARD_BYTES_MAX : size;
    lines = size > 0 && data[size - 1] != '\n';
    for (size_t i = 0; i < size; i++) {
        lines += data[i] == '\n';
    }
    struct heard whole = hear(data, size, size > 0 ? size : 1), pieces = hear(data, size, 1);
    must(whole.answers + whole.refused == lines);
    must(whole.answers == pieces.answers && whole.refused == pieces.refused);
    must(whole.sum == pieces.sum);
    return 0;
}
