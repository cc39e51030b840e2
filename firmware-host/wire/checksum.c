/* SPDX-License-Identifier: GPL-3.0-or-later */

#include "line_internal.h"

unsigned up_crc16(const char *text, size_t length) {
    unsigned crc = 0xFFFF;
    for (size_t i = 0; i < length; i++) {
        crc ^= (unsigned)(unsigned char)text[i] << 8;
        for (int bit = 0; bit < 8; bit++) {
            crc = (crc & 0x8000) != 0 ? (crc << 1 ^ 0x1021) & 0xFFFF : crc << 1 & 0xFFFF;
        }
    }
    return crc;
}

static unsigned checksum_of(enum up_checksum kind, const char *text, size_t length) {
    unsigned sum = 0;
    if (kind == UP_CHECKSUM_CRC16) {
        return up_crc16(text, length);
    }
    for (size_t i = 0; i < length; i++) {
        unsigned byte = (unsigned char)text[i];
        sum = kind == UP_CHECKSUM_XOR8 ? sum ^ byte : (sum + byte) & 0xFF;
    }
    return sum;
}

static int digit_value(char byte) {
    if (byte >= '0' && byte <= '9') {
        return byte - '0';
    }
    byte = (char)(byte | 0x20);
    return byte >= 'a' && byte <= 'f' ? byte - 'a' + 10 : 16;
}

static bool read_printed(struct slice text, int base, unsigned *value) {
    *value = 0;
    for (size_t i = 0; i < text.length; i++) {
        int digit = digit_value(text.at[i]);
        if (digit >= base) {
            return false;
        }
        *value = *value * (unsigned)base + (unsigned)digit;
    }
    return text.length > 0 && text.length <= 5;
}

bool take_checksum(const struct up_line_rule *rule, struct slice *line) {
    size_t mark = line->length;
    unsigned printed = 0;
    while (mark > 0 && line->at[mark - 1] != rule->checksum_mark) {
        mark--;
    }
    if (mark == 0 ||
        !read_printed(trim((struct slice){line->at + mark, line->length - mark}),
                      rule->checksum_base, &printed) ||
        printed != checksum_of(rule->checksum, line->at, mark - 1)) {
        return false;
    }
    line->length = mark - 1;
    return true;
}
