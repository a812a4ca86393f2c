//! `identify --know`: what the user knows goes before what the photo resembles.

use super::place::Place;

#[test]
fn what_is_told_settles_its_level_and_leaves_the_others_to_the_photo() {
    let place = Place::furnished();
    let plain = &place.identify(&["found.png"])[0]["pieces"][0];
    let read = plain["levels"]["form"][0]["label"].as_str().unwrap();
    let other = if read == "jug" { "plate" } else { "jug" };
    assert_eq!(plain["settled"]["form"].get("told"), None);

    let fact = format!("form={other}");
    let told = &place.identify(&["found.png", "--know", &fact])[0]["pieces"][0];
    assert_eq!(told["certainty"]["form"], "firm");
    assert_eq!(told["settled"]["form"]["told"], true);
    assert_eq!(told["levels"]["form"][0]["label"], other);
    assert_eq!(told["matches"], plain["matches"]);
}

#[test]
fn what_cannot_be_told_is_a_usage_error() {
    let place = Place::furnished();
    place
        .run(["identify", "found.png", "--know", "price=3"])
        .exits(2)
        .says("`price` is nothing that can be told")
        .without_result();
}
