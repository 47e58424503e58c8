package javax.annotation;

/** As in JSR 250, which made clients name and Java has no longer. */
public @interface Generated {
    String[] value();

    String date() default "";

    String comments() default "";
}
