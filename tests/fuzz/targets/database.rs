#![no_main]
libfuzzer_sys::fuzz_target!(|bytes: &[u8]| flankread::fuzzing::database(bytes));
