#![no_main]
libfuzzer_sys::fuzz_target!(|text: &str| flankread::fuzzing::job(text));
