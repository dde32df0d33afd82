// A Gradle library module for Android: `gradle :pointdown:assembleRelease` makes the AAR after
// `build-aar.sh` brought libraries and sources here. NOT RUN where this was written: neither the
// Android SDK nor its Gradle plugin is to be had there.

plugins {
    id("com.android.library") version "8.13.0"
    id("org.jetbrains.kotlin.android") version "2.2.20"
}

android {
    namespace = "pointdown"
    compileSdk = 36
    // From 28 on the NDK links for pages of 16 KB by itself, which devices with Android 15 may have.
    ndkVersion = "28.2.13676358"
    defaultConfig {
        // java.time without desugaring, and what the generated cleaner falls back to.
        minSdk = 26
        consumerProguardFiles("consumer-rules.pro")
        ndk { abiFilters += listOf("arm64-v8a", "armeabi-v7a", "x86", "x86_64") }
    }
    sourceSets["main"].java.srcDirs("src/main/kotlin", "../src/main/kotlin")
    sourceSets["main"].jniLibs.srcDirs("src/main/jniLibs")
    // Uncompressed and aligned libraries, which is what pages of 16 KB need in the APK.
    packaging { jniLibs { useLegacyPackaging = false } }
    compileOptions {
        sourceCompatibility = JavaVersion.VERSION_17
        targetCompatibility = JavaVersion.VERSION_17
    }
    kotlinOptions {
        jvmTarget = "17"
        allWarningsAsErrors = true
    }
}

dependencies {
    // 5.17 is the first whose own libraries are aligned to 16 KB.
    api("net.java.dev.jna:jna:5.17.0@aar")
    api("org.jetbrains.kotlinx:kotlinx-coroutines-android:1.10.2")
}
