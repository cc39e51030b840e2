/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Keys, signatures and their checks against RFC 8032 and Wycheproof. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>
#include <nettle/base16.h>

#include "signing/signing.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

static size_t bytes_of(const char *hex, uint8_t *bytes, size_t most) {
    struct base16_decode_ctx context;
    size_t length = most;
    base16_decode_init(&context);
    assert_true(base16_decode_update(&context, &length, bytes, strlen(hex), hex));
    return length;
}

/* RFC 8032 7.1, all five; "TEST 1024" has a message of 1,023 bytes. */
static void test_rfc_8032(void **state) {
    (void)state;
    static const struct {
        const char *name, *seed, *key, *message, *signature;
    } row[] = {
        {"TEST 1", "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
         "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
         "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701"
         "cf9b46bd25bf5f0595bbe24655141438e7a100b"},
        {"TEST 2", "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
         "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
         "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d"
         "0f11d8c387b2eaeb4302aeeb00d291612bb0c00"},
        {"TEST 3", "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
         "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
         "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f7609"
         "84dc6594a7c15e9716ed28dc027beceea1ec40a"},
        {"TEST 1024", "f5e5767cf153319517630f226876b86c8160cc583bc013744c6bf255f5cc0ee5",
         "278117fc144c72340f67d0f2316e8386ceffbf2b2428c9c51fef7c597f1d426e",
         "08b8b2b733424243760fe426a4b54908632110a66c2f6591eabd3345e3e4eb98fa6e264bf09efe12"
         "ee50f8f54e9f77b1e355f6c50544e23fb1433ddf73be84d879de7c0046dc4996d9e773f4bc9efe57"
         "38829adb26c81b37c93a1b270b20329d658675fc6ea534e0810a4432826bf58c941efb65d57a338b"
         "bd2e26640f89ffbc1a858efcb8550ee3a5e1998bd177e93a7363c344fe6b199ee5d02e82d522c4fe"
         "ba15452f80288a821a579116ec6dad2b3b310da903401aa62100ab5d1a36553e06203b33890cc9b8"
         "32f79ef80560ccb9a39ce767967ed628c6ad573cb116dbefefd75499da96bd68a8a97b928a8bbc10"
         "3b6621fcde2beca1231d206be6cd9ec7aff6f6c94fcd7204ed3455c68c83f4a41da4af2b74ef5c53"
         "f1d8ac70bdcb7ed185ce81bd84359d44254d95629e9855a94a7c1958d1f8ada5d0532ed8a5aa3fb2"
         "d17ba70eb6248e594e1a2297acbbb39d502f1a8c6eb6f1ce22b3de1a1f40cc24554119a831a9aad6"
         "079cad88425de6bde1a9187ebb6092cf67bf2b13fd65f27088d78b7e883c8759d2c4f5c65adb7553"
         "878ad575f9fad878e80a0c9ba63bcbcc2732e69485bbc9c90bfbd62481d9089beccf80cfe2df16a2"
         "cf65bd92dd597b0707e0917af48bbb75fed413d238f5555a7a569d80c3414a8d0859dc65a46128ba"
         "b27af87a71314f318c782b23ebfe808b82b0ce26401d2e22f04d83d1255dc51addd3b75a2b1ae078"
         "4504df543af8969be3ea7082ff7fc9888c144da2af58429ec96031dbcad3dad9af0dcbaaaf268cb8"
         "fcffead94f3c7ca495e056a9b47acdb751fb73e666c6c655ade8297297d07ad1ba5e43f1bca32301"
         "651339e22904cc8c42f58c30c04aafdb038dda0847dd988dcda6f3bfd15c4b4c4525004aa06eeff8"
         "ca61783aacec57fb3d1f92b0fe2fd1a85f6724517b65e614ad6808d6f6ee34dff7310fdc82aebfd9"
         "04b01e1dc54b2927094b2db68d6f903b68401adebf5a7e08d78ff4ef5d63653a65040cf9bfd4aca7"
         "984a74d37145986780fc0b16ac451649de6188a7dbdf191f64b5fc5e2ab47b57f7f7276cd419c17a"
         "3ca8e1b939ae49e488acba6b965610b5480109c8b17b80e1b7b750dfc7598d5d5011fd2dcc5600a3"
         "2ef5b52a1ecc820e308aa342721aac0943bf6686b64b2579376504ccc493d97e6aed3fb0f9cd71a4"
         "3dd497f01f17c0e2cb3797aa2a2f256656168e6c496afc5fb93246f6b1116398a346f1a641f3b041"
         "e989f7914f90cc2c7fff357876e506b50d334ba77c225bc307ba537152f3f1610e4eafe595f6d9d9"
         "0d11faa933a15ef1369546868a7f3a45a96768d40fd9d03412c091c6315cf4fde7cb68606937380d"
         "b2eaaa707b4c4185c32eddcdd306705e4dc1ffc872eeee475a64dfac86aba41c0618983f8741c5ef"
         "68d3a101e8a3b8cac60c905c15fc910840b94c00a0b9d0",
         "0aab4c900501b3e24d7cdf4663326a3a87df5e4843b2cbdb67cbf6e460fec350aa5371b1508f9f4528ecea23c"
         "436d94b5e8fcd4f681e30a6ac00a9704a188a03"},
        {"TEST SHA(abc)", "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
         "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
         "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a836ba3c23a"
         "3feebbd454d4423643ce80e2a9ac94fa54ca49f",
         "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ecfdfbc7c66"
         "431e0303dca179c138ac17ad9bef1177331a704"},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        uint8_t seed[UP_SEED_BYTES], message[1024];
        char key[UP_KEY_SIZE], signature[UP_SIGNATURE_SIZE];
        assert_int_equal(bytes_of(row[i].seed, seed, sizeof seed), UP_SEED_BYTES);
        size_t length = bytes_of(row[i].message, message, sizeof message);
        up_key_public(seed, key);
        assert_string_equal(key, row[i].key);
        up_sign_bytes(seed, message, length, signature);
        assert_string_equal(signature, row[i].signature);
        assert_true(up_signature_holds_bytes(key, message, length, signature));
        message[0] ^= 1;
        assert_false(up_signature_holds_bytes(key, message, length > 0 ? length : 1, signature));
    }
}

/* Signatures that must not hold, by their tcId: github.com/C2SP/wycheproof,
   testvectors_v1/ed25519_test.json, a selection. */
static void test_wycheproof_invalid(void **state) {
    (void)state;
    static const char key_1[] = "7d4d0e7f6153a69b6242b522abbee685fda4420f8834b108c3bdae369ef549fa";
    static const char key_2[] = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a";
    static const char key_3[] = "100fdf47fb94f1536a4f7c3fda27383fa03375a8f527c537e6f1703c47f94f86";
    static const struct {
        int id;
        const char *key, *message, *signature;
    } row[] = {
        {63, key_1, "54657374",
         "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab067654bce3832c2d76f8f6f5da"
         "fc08d9339d4eef676573336a5c51eb6f946b31d"},
        {64, key_1, "54657374",
         "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab05439412b5395d42f462c67008"
         "eba6ca839d4eef676573336a5c51eb6f946b32d"},
        {65, key_1, "54657374",
         "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab02ee12ce5875bf9dff26556464"
         "bae2ad239d4eef676573336a5c51eb6f946b34d"},
        {66, key_1, "54657374",
         "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab0e2300459f1e742404cd934d2c"
         "595a6253ad4eef676573336a5c51eb6f946b38d"},
        {151, key_2, "313233343030",
         "0100000000000000000000000000000000000000000000000000000000000080c803ee1f2342aa96ff698a393"
         "d1ab5e66f3eda101d6d120b394c3fd32c117d0a"},
        {10, key_1, "3f",
         "00000000000000000000000000000000000000000000000000000000000000000000000000000000000000000"
         "000000000000000000000000000000000000000"},
        {11, key_1, "3f",
         "00000000000000000000000000000000000000000000000000000000000000000100000000000000000000000"
         "000000000000000000000000000000000000000"},
        {12, key_1, "3f",
         "0000000000000000000000000000000000000000000000000000000000000000ecd3f55c1a631258d69cf7a2d"
         "ef9de1400000000000000000000000000000010"},
        {13, key_1, "3f",
         "0000000000000000000000000000000000000000000000000000000000000000edd3f55c1a631258d69cf7a2d"
         "ef9de1400000000000000000000000000000010"},
        {14, key_1, "3f",
         "0000000000000000000000000000000000000000000000000000000000000000edfffffffffffffffffffffff"
         "fffffffffffffffffffffffffffffffffffff7f"},
        {15, key_1, "3f",
         "01000000000000000000000000000000000000000000000000000000000000000000000000000000000000000"
         "000000000000000000000000000000000000000"},
        {30, key_1, "54657374", ""},
        {31, key_1, "54657374", "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab0"},
        {32, key_1, "54657374",
         "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab07a9155711ecfaf7f99f277bad"
         "0c6ae7e39d4eef676573336a5c51eb6f946"},
        {33, key_1, "54657374",
         "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab07a9155711ecfaf7f99f277bad"
         "0c6ae7e39d4eef676573336a5c51eb6f946b30d2020"},
        {35, key_1, "54657374",
         "007c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab07a9155711ecfaf7f99f277b"
         "ad0c6ae7e39d4eef676573336a5c51eb6f946b30d"},
        {36, key_1, "54657374",
         "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab0007a9155711ecfaf7f99f277b"
         "ad0c6ae7e39d4eef676573336a5c51eb6f946b30d"},
        {37, key_1, "54657374",
         "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab07a9155711ecfaf7f99f277bad"
         "0c6ae7e39d4eef676573336a5c51eb6f946b30d00"},
        {38, key_1, "546573743137",
         "93de3ca252426c95f735cb9edd92e83321ac62372d5aa5b379786bae111ab6b17251330e8f9a7c30d6993137c"
         "596007d7b001409287535ac4804e662bc58a3"},
        {39, key_1, "54657374313236",
         "dffed33a7f420b62bb1731cfd03be805affd18a281ec02b1067ba6e9d20826569e742347df59c88ae96db1f19"
         "69fb189b0ec34381d85633e1889da48d95e0e"},
        {40, key_1, "546573743530",
         "6e170c719577c25e0e1e8b8aa7a6346f8b109f37385cc2e85dc3b4c0f46a9c6bcafd67f52324c5dbaf40a1b67"
         "3fb29c4a56052d2d6999d0838a8337bccb502"},
        {41, key_1, "54657374333437",
         "b0928b46e99fbbad3f5cb502d2cd309d94a7e86cfd4d84b1fcf4cea18075a9c36993c0582dba1e9e519fae5a8"
         "654f454201ae0c3cb397c37b8f4f8eef18400"},
        {42, key_1, "313233343030",
         "647c1492402ab5ce03e2c3a7f0384d051b9cf3570f1207fc78c1bcc98c281c2b1d125e5538f38afbcc1c84e48"
         "9521083041d24bc6240767029da063271a1ff0c"},
        {43, key_1, "313233343030",
         "677c1492402ab5ce03e2c3a7f0384d051b9cf3570f1207fc78c1bcc98c281c2bc108ca4b87a49c9ed2cf383ae"
         "cad8f54a962b2899da891e12004d7993a627e01"},
        {44, key_1, "313233343030",
         "617c1492402ab5ce03e2c3a7f0384d051b9cf3570f1207fc78c1bcc98c281c2b9ce23fc6213ed5b87912e9bbf"
         "92f5e2c780eae26d15c50a112d1e97d2ea33c06"},
        {45, key_1, "313233343030",
         "e57c1492402ab5ce03e2c3a7f0384d051b9cf3570f1207fc78c1bcc98c281c2bbb3eb51cd98dddb235a5f46f2"
         "bded6af184a58d09cce928bda43f41d69118a03"},
        {46, key_1, "313233343030",
         "657d1492402ab5ce03e2c3a7f0384d051b9cf3570f1207fc78c1bcc98c281c2bcd237dda9a116501f67a5705a"
         "854b9adc304f34720803a91b324f2c13e0f5a09"},
        {47, key_1, "313233343030",
         "657c1592402ab5ce03e2c3a7f0384d051b9cf3570f1207fc78c1bcc98c281c2b6b167bbdc0d881cc04d289055"
         "52c1876f3709851abc5007376940cc8a435c300"},
        {67, key_1, "54657374",
         "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab07a9155711ecfaf7f99f277bad"
         "0c6ae7e39d4eef676573336a5c51eb6f946b32d"},
        {68, key_1, "54657374",
         "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab07a9155711ecfaf7f99f277bad"
         "0c6ae7e39d4eef676573336a5c51eb6f946b34d"},
        {85, key_3, "6a0bc2b0057cedfc0fa2e3f7f7d39279b30f454a69dfd1117c758d86b19d85e0",
         "0971f86d2c9c78582524a103cb9cf949522ae528f8054dc20107d999be673ff4e25ebf2f2928766b1248bec6e"
         "91697775f8446639ede46ad4df4053000000010"},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        uint8_t message[64];
        size_t length = bytes_of(row[i].message, message, sizeof message);
        if (up_signature_holds_bytes(row[i].key, message, length, row[i].signature)) {
            fail_msg("tcId %d holds", row[i].id);
        }
    }
}

/* The points of small order, and the other spellings of some, as the Community Cryptography Test
   Vectors (C2SP CCTV, ed25519/README.md) count them, eight and six; see also Chalkias, Garillot,
   Nikolaenko, "Taming the many EdDSAs", 2020. */
static void test_keys_of_small_order(void **state) {
    (void)state;
    static const char *const keys[] = {
        "0100000000000000000000000000000000000000000000000000000000000000",
        "ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
        "0000000000000000000000000000000000000000000000000000000000000000",
        "0000000000000000000000000000000000000000000000000000000000000080",
        "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a",
        "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac03fa",
        "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
        "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc85",
        "0100000000000000000000000000000000000000000000000000000000000080",
        "ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff",
        "edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
        "edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff",
        "eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
        "eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff",
    };
    /* R = [S]B + [-k]A, where S = 0 and k A is one of few points: one of these R fits, for every
       eighth message at the latest. */
    unsigned held = 0;
    for (size_t key = 0; key < sizeof keys / sizeof keys[0]; key++) {
        for (size_t r = 0; r < 8; r++) {
            for (uint8_t message = 0; message < 32; message++) {
                char signature[UP_SIGNATURE_SIZE];
                snprintf(signature, sizeof signature, "%s%064d", keys[r], 0);
                held += up_signature_holds_bytes(keys[key], &message, 1, signature);
            }
        }
    }
    assert_int_equal(held, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_rfc_8032),
        cmocka_unit_test(test_wycheproof_invalid),
        cmocka_unit_test(test_keys_of_small_order),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
