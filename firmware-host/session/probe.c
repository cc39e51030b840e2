/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "probe.h"

#include <errno.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>

#include "catalogue/records.h"
#include "text/clock.h"
#include "text/text.h"

enum { CHUNK = 65536, PATIENCE_MS = 100, ENOUGH_BYTES = 16384 };

struct hearing {
    struct up_source *source;
    double seconds;
    const volatile sig_atomic_t *signalled;
    void *context;
    bool (*before)(void *context, struct up_failure *failure);      /* each wait; may be NULL */
    bool (*bytes)(void *context, const char *bytes, size_t length); /* false: enough */
};

static bool fail_to_read(const struct up_source *source, struct up_failure *failure) {
    return up_source_is_device(source)
               ? up_fail(failure, UP_STATUS_UNABLE, "the device is gone: check its cable")
               : up_fail(failure, UP_STATUS_WRONG_INPUT, "cannot read the capture: %s",
                         strerror(errno));
}

static bool is_ready(struct up_source *source) {
    struct pollfd entry = {.fd = up_source_descriptor(source), .events = POLLIN};
    return !up_source_is_device(source) || poll(&entry, 1, PATIENCE_MS) > 0;
}

static bool hear(const struct hearing *hearing, struct up_failure *failure) {
    static char bytes[CHUNK];
    double end_s = up_monotonic_s() + hearing->seconds;
    while (*hearing->signalled == 0 && up_monotonic_s() < end_s) {
        size_t length = 0;
        if (hearing->before != NULL && !hearing->before(hearing->context, failure)) {
            return false;
        }
        if (!is_ready(hearing->source)) {
            continue;
        }
        enum up_read read = up_source_read(hearing->source, bytes, sizeof bytes, &length);
        if (length > 0 && !hearing->bytes(hearing->context, bytes, length)) {
            return true;
        }
        if (read == UP_READ_LOST) {
            return fail_to_read(hearing->source, failure);
        }
        if (read == UP_READ_END) {
            return true;
        }
    }
    return true;
}

/* ---- a stream of a known layout ---- */

struct stream {
    const struct up_rig *rig;
    struct up_source *source;
    struct up_listening *listening;
    uint64_t awaited; /* lines that were asked for */
};

static bool poll_device(void *context, struct up_failure *failure) {
    struct stream *stream = context;
    const struct up_line_rule *line = &stream->rig->line;
    if (line->note_mark != '\0' && stream->awaited == 0 && stream->listening->samples > 0) {
        stream->awaited = 1;
        return up_source_write(stream->source, "\nidentify\nself-test\n", 20, failure);
    }
    if (line->poll[0] == '\0' || stream->listening->reader.lines < stream->awaited) {
        return true;
    }
    stream->awaited = stream->listening->reader.lines + (uint64_t)line->poll_lines;
    return up_source_write(stream->source, line->poll, strlen(line->poll), failure);
}

static bool take_bytes(void *context, const char *bytes, size_t length) {
    struct stream *stream = context;
    if (up_source_is_device(stream->source) && stream->rig->line.poll[0] == '\0') {
        up_listening_arrival(stream->listening, up_monotonic_s());
    }
    up_listening_bytes(stream->listening, bytes, length);
    return true;
}

bool up_listen_to_stream(const struct up_rig *rig, struct up_source *source, double seconds,
                         const volatile sig_atomic_t *signalled, struct up_listening *listening,
                         struct up_failure *failure) {
    bool device = up_source_is_device(source);
    struct stream stream = {rig, source, listening, 0};
    struct hearing hearing = {source,  device ? seconds : (double)INFINITY, signalled,
                              &stream, device ? poll_device : NULL,         take_bytes};
    return hear(&hearing, failure) &&
           (!device || listening->bytes > 0 ||
            up_fail(failure, UP_STATUS_UNABLE,
                    "nothing came over the wire in %g s: check power, cable and the path in the "
                    "rig file",
                    seconds));
}

/* ---- a stream of which nothing is known ---- */

/* In the order in which devices have them, roughly (common practice, no source). */
static const struct up_port_settings tried[] = {
    {9600, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0},  {115200, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0},
    {57600, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0}, {38400, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0},
    {19200, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0}, {4800, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0},
    {2400, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0},  {9600, 7, 1, UP_PARITY_EVEN, UP_FLOW_NONE, 0},
    {4800, 7, 1, UP_PARITY_EVEN, UP_FLOW_NONE, 0},  {2400, 7, 1, UP_PARITY_EVEN, UP_FLOW_NONE, 0},
    {1200, 7, 1, UP_PARITY_EVEN, UP_FLOW_NONE, 0},  {230400, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0},
};
enum { TRIED = sizeof tried / sizeof tried[0] };

/* An answer is over when nothing has come for so long; none comes later than that (choices of
 * ours). */
static const double ANSWER_GAP_S = 0.3, ANSWER_LATEST_S = 1, ASKING_S = 1;

/* First with pauses, until it is known how an answer ends; then as fast as a session asks, which
   gives the pace. */
static bool ask_device(void *context, struct up_failure *failure) {
    struct up_probe *probe = context;
    double quiet_s = up_monotonic_s() - probe->heard_s;
    bool over = probe->answer_ends > 0 ? probe->answers >= probe->polls * probe->answer_ends
                                       : quiet_s >= ANSWER_GAP_S;
    if (!over && quiet_s < ANSWER_LATEST_S) {
        return true;
    }
    probe->polls++;
    probe->answers = probe->polls > 1 ? (probe->polls - 1) * probe->answer_ends : 0;
    probe->heard_s = up_monotonic_s();
    return up_source_write(probe->source, probe->poll, strlen(probe->poll), failure);
}

static unsigned count_byte(const char *bytes, size_t length, char byte) {
    unsigned count = 0;
    for (size_t i = 0; i < length; i++) {
        count += bytes[i] == byte;
    }
    return count;
}

static bool collect_bytes(void *context, const char *bytes, size_t length) {
    struct up_probe *probe = context;
    probe->answers += count_byte(bytes, length, probe->answer_end);
    probe->heard_s = up_monotonic_s();
    size_t room = sizeof probe->bytes - probe->length;
    double now_s = up_monotonic_s();
    probe->first_s = probe->length == 0 ? now_s : probe->first_s;
    probe->span_s = probe->kind != UP_PORT_CAPTURE ? now_s - probe->first_s : 0;
    length = length < room ? length : room;
    memcpy(probe->bytes + probe->length, bytes, length);
    probe->length += length;
    return probe->length < (probe->kind != UP_PORT_CAPTURE ? ENOUGH_BYTES : sizeof probe->bytes);
}

static bool judge(struct up_probe *probe) {
    struct up_guess *guess = &probe->guess;
    double rate_hz = (double)NAN;
    if (!up_guess_layout(probe->bytes, probe->length, rate_hz, guess, &probe->failure)) {
        return false;
    }
    if (probe->span_s > 0 && guess->fits > 1) {
        probe->rate_hz = rate_hz = (double)(guess->fits - 1) / probe->span_s;
        return up_guess_layout(probe->bytes, probe->length, rate_hz, guess, &probe->failure);
    }
    return true;
}

/* At one rate. */
static bool listen_at_settings(struct up_probe *probe, double seconds,
                               const volatile sig_atomic_t *signalled) {
    struct up_rig rig = {.port_kind = probe->kind, .port = probe->settings};
    bool asks = probe->poll[0] != '\0',
         good = up_source_open(&rig, probe->port.name, &probe->source, &probe->failure);
    probe->length = 0;
    probe->span_s = probe->heard_s = 0;
    probe->polls = probe->answers = 0;
    good = good && hear(&(struct hearing){probe->source, seconds, signalled, probe,
                                          asks ? ask_device : NULL, collect_bytes},
                        &probe->failure);
    up_source_close(probe->source);
    probe->source = NULL;
    return good;
}

/* How an answer ends; then once more, at the device's own pace. */
static bool learn_answers(struct up_probe *probe, double seconds,
                          const volatile sig_atomic_t *signalled) {
    unsigned polls = probe->polls > 0 ? probe->polls : 1;
    probe->answer_end = probe->bytes[probe->length - 1];
    probe->answer_ends =
        (count_byte(probe->bytes, probe->length, probe->answer_end) + polls / 2) / polls;
    bool good = probe->answer_ends > 0 && listen_at_settings(probe, seconds, signalled);
    probe->answer_ends = 0;
    return good;
}

/* The question and the lines of one answer, in the section that reads them. */
static void add_poll_keys(struct up_probe *probe) {
    static const char head[] = "[line]\n";
    double lines = (double)probe->guess.lines / fmax(probe->polls, 1);
    char *section = probe->guess.line_section, *at = strstr(section, head) + strlen(head);
    char *whole = up_text_format("%.*s%spoll_lines = %.0f\n%s", (int)(at - section), section,
                                 probe->poll_keys, fmax(round(lines), 1), at);
    snprintf(section, sizeof probe->guess.line_section, "%s", whole);
    free(whole);
}

/* At one rate; *next: another one is worth a try. */
static bool try_settings(struct up_probe *probe, double seconds,
                         const volatile sig_atomic_t *signalled, bool *next) {
    bool asks = probe->poll[0] != '\0',
         good = listen_at_settings(probe, asks ? ASKING_S : seconds, signalled);
    *next = good && (asks || probe->length > 0) && *signalled == 0;
    if (good && asks && probe->length > 0) {
        good = learn_answers(probe, seconds, signalled);
    }
    if (good && probe->length == 0) {
        return up_fail(&probe->failure, UP_STATUS_UNABLE,
                       "nothing came in %g s: the device is off, or sends only when asked (the key "
                       "poll of a rig file)",
                       seconds);
    }
    good = good && judge(probe);
    if (good && asks) {
        add_poll_keys(probe);
    }
    return good;
}

bool up_probe_ask_with(struct up_probe *probe, const char *word, const char *end,
                       struct up_failure *failure) {
    struct up_rig *rig = up_allocate(1, sizeof *rig);
    snprintf(probe->poll_keys, sizeof probe->poll_keys, "poll = %s\npoll_end = %s\n", word, end);
    char *text =
        up_text_format("[rig]\nid = x\n[line]\nlayout = bare\nrate_hz = 1\n%s", probe->poll_keys);
    bool good = up_rig_parse("the question", text, rig, failure);
    memcpy(probe->poll, rig->line.poll, sizeof probe->poll);
    free(text);
    free(rig);
    return good;
}

static bool is_pseudo_terminal(const char *path) {
    UP_FREED char *real = realpath(path, NULL);
    return real != NULL && strncmp(real, "/dev/pts/", 9) == 0;
}

bool up_probe_port(struct up_probe *probe, double seconds, const volatile sig_atomic_t *signalled) {
    bool pty = is_pseudo_terminal(probe->port.name), next = true;
    probe->kind = pty ? UP_PORT_PTY : UP_PORT_SERIAL;
    for (int i = 0; i < (pty ? 1 : TRIED) && next && !probe->found; i++) {
        probe->settings = tried[i];
        probe->found = try_settings(probe, seconds, signalled, &next);
    }
    return probe->found;
}

bool up_probe_recording(struct up_probe *probe, const char *path) {
    static const volatile sig_atomic_t none;
    struct up_source *source = NULL;
    bool good = up_source_open_capture(path, &source, &probe->failure);
    probe->kind = UP_PORT_CAPTURE;
    snprintf(probe->port.name, sizeof probe->port.name, "%s", path);
    good =
        good && hear(&(struct hearing){source, (double)INFINITY, &none, probe, NULL, collect_bytes},
                     &probe->failure);
    up_source_close(source);
    probe->found = good && judge(probe);
    return probe->found;
}

/* ---- the rig file ---- */

static bool is_plain(const char *text) {
    return text[0] != '\0' &&
           text[strspn(text, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
                             "0123456789._-/:+")] == '\0';
}

/* By its USB identity a port is found again under any name. */
static char *path_of(const struct up_probe *probe) {
    const struct up_port *port = &probe->port;
    if (probe->kind == UP_PORT_SERIAL && port->usb_vendor >= 0) {
        bool serial = is_plain(port->usb_serial);
        return up_text_format("path = usb:%04x:%04x%s%s\n", (unsigned)port->usb_vendor,
                              (unsigned)port->usb_product, serial ? ":" : "",
                              serial ? port->usb_serial : "");
    }
    return is_plain(port->name) ? up_text_format("path = %s\n", port->name)
                                : up_text_format("; path = give it here\n");
}

char *up_probe_port_section(const struct up_probe *probe) {
    static const char *const parity[] = {"none", "even", "odd"};
    static const char *const kind[] = {
        [UP_PORT_PTY] = "pty", [UP_PORT_SERIAL] = "serial", [UP_PORT_CAPTURE] = "capture"};
    char *path = path_of(probe), *text;
    if (probe->kind == UP_PORT_SERIAL) {
        text = up_text_format("[port]\nkind = serial\n%sbaud = %d\ndata_bits = %d\nparity = %s\n"
                              "stop_bits = %d\n",
                              path, probe->settings.baud, probe->settings.data_bits,
                              parity[probe->settings.parity], probe->settings.stop_bits);
    } else {
        text = up_text_format("[port]\nkind = %s\n%s", kind[probe->kind], path);
    }
    free(path);
    return text;
}

/* A window of the usual 8 s about 20 s is for three lines a second or more; sixteen are needed, and
   some more for a pace that varies (a choice of ours). */
static const double SLOW_HZ = 2.5, WINDOW_LINES = 20, WINDOW_FROM_S = 10;

char *up_probe_bench_section(double rate_hz) {
    if (rate_hz <= 0 || rate_hz >= SLOW_HZ) {
        return up_text_format("%s", "");
    }
    double window_s = ceil(WINDOW_LINES / rate_hz);
    return up_text_format("\n[bench]\n; The scale is slow: so long a reading has %g lines.\n"
                          "window_s = %g\nread_after_s = %g\n",
                          WINDOW_LINES, window_s, fmax(20, WINDOW_FROM_S + window_s / 2));
}

char *up_probe_rig(const struct up_probe *probe) {
    const struct up_guess *guess = &probe->guess;
    UP_FREED char *port = up_probe_port_section(probe);
    char id[UP_ID_SIZE]; /* of its own: two benches must not share one */
    up_new_id(id);
    bool has_sensor = strstr(guess->line_section, "[sensor]") != NULL;
    return up_text_format(
        "; Guessed by upthrust ports: %llu of %llu lines fit. Compare each key with the device,\n"
        "; and complete what FILL IN marks: `upthrust rig-check` names what is still missing,\n"
        "; `upthrust help rig` lists all keys.\n"
        "[rig]\n"
        "id = bench-%.8s\n"
        "\n"
        "%s\n"
        "%s%s"
        "; FILL IN: the most that the scale or cell may carry, ballast included, in kg\n"
        "; capacity_kg = 20\n"
        "\n"
        "[tank]\n"
        "; FILL IN: fresh, sea or pool (sea and pool need their salt too)\n"
        "; water = fresh\n"
        "; FILL IN: lead that always hangs under water, weighed dry, in kg\n"
        "; ballast_kg = 2\n"
        "; FILL IN: how deep the middle of an item hangs below the surface, in m\n"
        "; depth_m = 0.45\n",
        (unsigned long long)guess->fits, (unsigned long long)(guess->lines - guess->passed), id,
        port, guess->line_section, has_sensor ? "" : "\n[sensor]\n");
}
